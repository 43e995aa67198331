// Values of a map between its cells.
#pragma once

#include <opencv2/core.hpp>

namespace endgrade {

// Whether p and the cells around it lie in the map, with room for rounding.
[[nodiscard]] inline bool IsWellInside(const cv::Mat& map, cv::Point2d p) {
  return p.x >= 0 && p.y >= 0 && p.x < map.cols - 1.001 && p.y < map.rows - 1.001;
}

// Bilinear value at a position that is well inside.
[[nodiscard]] inline double SampleInside(const cv::Mat& map, cv::Point2d p) {
  const int x = static_cast<int>(p.x);
  const int y = static_cast<int>(p.y);
  const double fx = p.x - x;
  const double fy = p.y - y;
  const auto* top = map.ptr<float>(y) + x;
  const auto* bottom = map.ptr<float>(y + 1) + x;
  const double upper = static_cast<double>(top[0]) * (1 - fx) + static_cast<double>(top[1]) * fx;
  const double lower =
      static_cast<double>(bottom[0]) * (1 - fx) + static_cast<double>(bottom[1]) * fx;
  return upper * (1 - fy) + lower * fy;
}

// Bilinear value at any position; zero outside.
[[nodiscard]] inline double SampleAt(const cv::Mat& map, cv::Point2d p) {
  if (p.x < 0 || p.y < 0 || p.x >= map.cols - 1 || p.y >= map.rows - 1) return 0.0;
  return SampleInside(map, p);
}

}  // namespace endgrade
