// From an ellipse that is nearly right to one that is right, at the picture's own resolution.
#pragma once

#include "locate/level.h"

#include <optional>

namespace endgrade::locate {

struct Rim {
  RimFrame frame;                 // in pixels of the picture
  double seen = 0;                // share of the whole rim where the common profile is found again
  double in_view = 0;             // share of the whole rim inside the picture
  double sigma_px = 0;            // of the blur
  double fwhm_px = 0;             // of the spread of a point
  double step = 0;                // outside minus inside, luma units
  bool drawn = false;             // a line with the same brightness on both sides
  std::optional<double> ring_px;  // width of the adhesive ring
  double radius_uncertainty_px = 0;  // standard deviations
  double centre_uncertainty_px = 0;
};

// The level that a rim of this radius is measured in: averaged where the picture has more pixels
// than the rim needs.
[[nodiscard]] Level RimLevel(const cv::Mat& luma, double white_level, const RimFrame& frame);

[[nodiscard]] std::optional<Rim> RefineRim(const Level& level, const RimFrame& start);

}  // namespace endgrade::locate
