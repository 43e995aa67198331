// Which features of two pictures lie on each other, once one picture is turned onto the other.
#pragma once

#include "endgrade/compare.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::compare {

// A feature's outline and points inside it, micrometres of the picture after.
struct Patch {
  std::vector<cv::Point2f> outline;
  std::vector<cv::Point2f> points;
  cv::Rect2f box;
  double area_um2 = 0;
};

[[nodiscard]] Patch MakePatch(const std::vector<cv::Point2d>& outline_um);

// Share of a patch's points that lie within `reach_um` of another; of all others together.
[[nodiscard]] double Covered(const Patch& patch, const Patch& by, double reach_um);
[[nodiscard]] double Covered(const Patch& patch, const std::vector<Patch>& by, double reach_um);

}  // namespace endgrade::compare
