// What the picture could have shown: how small a feature would have been found, zone by zone, and
// how good the photograph is. A pass rests on this as much as on what was found.
#pragma once

#include "endgrade/detect.h"
#include "endgrade/flatten.h"
#include "endgrade/frame.h"
#include "endgrade/lay.h"
#include "endgrade/limits.h"
#include "endgrade/locate.h"
#include "endgrade/reason.h"
#include "endgrade/scale.h"

#include <opencv2/core.hpp>

#include <optional>
#include <vector>

namespace endgrade {

// What a zone's pixels could have shown.
struct ZoneSight {
  double in_view_fraction = 0;
  // The smallest defect (disc) and scratch (line of 30 um, by width) of the stated contrast that
  // would have been found, wherever in the zone it lies (a scratch along the rim itself is part of
  // the ring there), um; empty when none of any size would.
  std::optional<double> smallest_visible_um;
  std::optional<double> smallest_visible_scratch_um;
};

struct Quality {
  double blur_sigma_um = 0;       // "focus": equivalent Gaussian of the rim's step
  double blur_fwhm_um = 0;        // full width at half maximum of a point's image
  double smear_um = 0;            // how far the picture moved while it was taken; 0: not seen to
  double noise = 0;               // pixel noise on the glass over the glass's level
  double rim_contrast = 0;        // brightness range across the rim over the glass's level
  double saturated_fraction = 0;  // of the pixels inside the zones, clipped at white or black
  double brightest_levels = 0;    // what 95 % of the face stay below, stored steps above black
  double stated_contrast = 0;     // that smallest_visible_um speaks of
  cv::Size2d view_um;             // the picture's extent in micrometres
  std::vector<Reason> problems;   // found by the steps before: each forbids a pass
  // What the face looks like that forbids a pass, too, but takes nothing from what was found on it.
  std::vector<Reason> doubts;
};

struct SightOptions {
  // Contrast of the feature that "would have been found": (feature - surroundings) / surroundings
  // as the picture stores it. A camera with a tone curve of gamma 2 stores a third less light as
  // 0.18: there a fainter feature than the one meant is spoken of.
  // Dry dust on glass is darker than its surroundings by a third or more; common practice, no
  // source. Range [0.02, 1].
  double stated_contrast = 0.3;

  // Chance of being found that "would have been found" stands for. Range [0.5, 0.999].
  double stated_rate = 0.95;

  // Blur beyond which the picture is called out of focus whatever its noise: full width at half
  // maximum of the rim's edge over the smallest size that must be seen. Range [0.5, 10].
  double max_blur_over_must_see = 1.4;

  // Least brightness range across the rim, over the glass's level. Where even the edge of the glass
  // hardly shows, haze on the optics would hide dirt too. Range [0, 1].
  double min_rim_contrast = 0.05;

  // Least brightness of the face's bright parts, in steps that the picture stores. Of fewer, one
  // step is over 6 % of what is stored and, behind a camera's tone curve, over 10 % of the light:
  // rounding hides both what is faint and the noise that it is to be told from. Our choice.
  // Range [0, 255].
  double min_brightest_levels = 16;

  // Share of a zone's pixels that may be clipped before it cannot be graded. Range [0, 1].
  double max_saturated_fraction = 0.2;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

struct Sight {
  std::vector<ZoneSight> zones;  // by limits.zones
  Quality quality;
};

// What the steps before have found out about the picture.
struct SightInputs {
  const Frame& frame;
  const FibreGeometry& fibre;
  const Scale& scale;
  const ZoneMap& zones;
  const ContrastMap& contrast;
  const Detection& detection;
  const DetectOptions& detect;
  const Limits& limits;
};

[[nodiscard]] Sight AssessSight(const SightInputs& inputs, const SightOptions& options = {});

}  // namespace endgrade
