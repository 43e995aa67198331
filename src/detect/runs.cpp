#include "detect/runs.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>

namespace endgrade {

std::vector<int> DiscRows(int radius) {
  const cv::Mat disc =
      cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * radius + 1, 2 * radius + 1});
  std::vector<int> half;
  for (int y = 0; y < disc.rows; ++y) half.push_back((cv::countNonZero(disc.row(y)) - 1) / 2);
  return half;
}

cv::Mat Widened(const cv::Mat& mask, const std::vector<int>& half) {
  cv::Mat wide = cv::Mat::zeros(mask.size(), CV_8UC1);
  const int reach = static_cast<int>(half.size() / 2);
  for (int y = 0; y < mask.rows; ++y) {
    const int top = std::max(0, y - reach);
    const int bottom = std::min(mask.rows - 1, y + reach);
    ForEachRun(mask, y, [&](const Run& run) {
      for (int row = top; row <= bottom; ++row) {
        const int more = half[static_cast<std::size_t>(row - y + reach)];
        if (more < 0) continue;
        const int begin = std::max(0, run.begin - more);
        const int end = std::min(mask.cols, run.end + more);
        std::memset(wide.ptr(row) + begin, 255, static_cast<std::size_t>(end - begin));
      }
    });
  }
  return wide;
}

}  // namespace endgrade
