// A plain end face drawn with closed forms, for the steps that need pixels but no locating: glass,
// core, ferrule grain, blurred rim, discs and straight lines, Gaussian noise from a fixed seed.
#pragma once

#include "endgrade/flatten.h"
#include "endgrade/frame.h"
#include "endgrade/limits.h"
#include "endgrade/locate.h"
#include "endgrade/measure.h"
#include "endgrade/scale.h"

#include <cstdint>
#include <vector>

namespace endgrade::test {

struct DrawnDisc {
  cv::Point2d centre_um;
  double diameter_um = 3;
  double contrast = -0.4;  // of the surroundings
};

struct DrawnLine {
  cv::Point2d from_um, to_um;
  double width_um = 1;
  double contrast = -0.3;
};

struct DrawnRing {
  double radius_um = 30;
  double width_um = 3;
  double contrast = -0.2;
};

struct DrawnFace {
  cv::Size size{760, 760};
  double um_per_px = 0.4;
  double blur_um = 0.5;  // sigma
  double noise = 1.5;    // luma units
  double grain = 3.0;
  double glass = 90, ferrule = 150, core = 110;
  double core_radius_um = 4.5;  // 0: none
  double tilt_of_light = 0.1;   // brightness range across the face
  std::vector<DrawnDisc> discs;
  std::vector<DrawnLine> lines;
  std::vector<DrawnRing> rings;
  std::uint64_t seed = 1;
};

struct Drawn {
  Frame frame;
  FibreGeometry fibre;  // the truth, as locate would give it
  Scale scale;
};

[[nodiscard]] Drawn Draw(const DrawnFace& face);

// The limits with this ID from the source tree.
[[nodiscard]] Limits ShippedLimits(const std::string& id);

// The steps up to the contrast map.
[[nodiscard]] ContrastMap FlattenDrawn(const Drawn& drawn, const Limits& limits);

// What is found and measured on the face, by the limits "sm-upc".
[[nodiscard]] std::vector<Feature> FeaturesOn(const DrawnFace& face);

}  // namespace endgrade::test
