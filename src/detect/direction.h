#pragma once

#include <opencv2/core.hpp>

#include <cmath>

namespace endgrade {

// The vector's direction, of length 1; (1, 0) where it has none.
[[nodiscard]] inline cv::Point2d Unit(cv::Point2d v) {
  const double length = std::hypot(v.x, v.y);
  return length > 0 ? v * (1.0 / length) : cv::Point2d(1, 0);
}

}  // namespace endgrade
