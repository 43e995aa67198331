// The shape of a region from the points where its brightness crosses half of its height.
#pragma once

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct Shape {
  double diameter_enclosing_um = 0;
  cv::Point2d centre_um;     // of the enclosing circle
  double length_um = 0;      // extent along the longest direction of its hull
  double width_um = 0;       // least extent of its hull, across the length
  double bent_width_um = 0;  // across the parabola along its length that fits best: of a bent band
  double nearest_um = 0;     // least and greatest distance from the face's centre
  double furthest_um = 0;
};

// From edge points in end-face micrometres (at least one).
[[nodiscard]] Shape DescribeShape(const std::vector<cv::Point2d>& edge_um);

}  // namespace endgrade
