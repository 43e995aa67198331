// The cells around a line's spine, and what lies across them.
#pragma once

#include <opencv2/core.hpp>

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {

// Visits, row by row, the cells within `half` of each of the points: visit(point's index, row,
// first column, last column).
template <typename Visit>
void AlongSpine(const std::vector<cv::Point2d>& points, double half, cv::Size size, Visit visit) {
  for (size_t i = 0; i < points.size(); ++i) {
    const cv::Point2d at = points[i];
    const int top = std::max(0, cvCeil(at.y - half));
    const int bottom = std::min(size.height - 1, cvFloor(at.y + half));
    for (int y = top; y <= bottom; ++y) {
      const double dy2 = (y - at.y) * (y - at.y);
      const double reach = std::sqrt(std::max(0.0, half * half - dy2));
      const int left = std::max(0, cvCeil(at.x - reach));
      const int right = std::min(size.width - 1, cvFloor(at.x + reach));
      if (left <= right) visit(i, y, left, right);
    }
  }
}

// A line's cells, and how far each is from its middle.
struct Band {
  cv::Rect box;      // of the map: what the matrices cover
  cv::Mat distance;  // CV_32FC1: signed offset; 1e9 outside
  cv::Mat place;     // CV_32SC1: index along the resampled spine; -1 outside
  size_t num_places = 0;
};

// The cells within `reach` of the box around the points, of a map of `size`.
[[nodiscard]] cv::Rect BoxAround(const std::vector<cv::Point2d>& points,
                                 double reach,
                                 cv::Size size);

// The cells within `half` of the spine, of a map of `size`.
[[nodiscard]] Band RasteriseBand(const std::vector<cv::Point2d>& spine, double half, cv::Size size);

}  // namespace endgrade
