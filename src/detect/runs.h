// The marked cells of a mask, row by row: where few are marked, most of a row is passed over at
// once.
#pragma once

#include <opencv2/core.hpp>

#include <cstdint>
#include <cstring>
#include <vector>

namespace endgrade {

// Cells side by side in a row.
struct Run {
  int y = 0;
  int begin = 0;
  int end = 0;  // one past the last
};

// Hands each run of 255 in a row of the mask to `take`; the others are 0.
template <typename Take>
void ForEachRun(const cv::Mat& mask, int y, Take take) {
  const auto* const row = mask.ptr<std::uint8_t>(y);
  const auto* const last = row + mask.cols;
  const auto next = [last](const std::uint8_t* from, int value) {
    const void* const found = std::memchr(from, value, static_cast<std::size_t>(last - from));
    return found == nullptr ? last : static_cast<const std::uint8_t*>(found);
  };
  for (const auto* begin = next(row, 255); begin != last;) {
    const auto* const end = next(begin, 0);
    take(Run{y, static_cast<int>(begin - row), static_cast<int>(end - row)});
    begin = next(end, 255);
  }
}

// The disc of a radius, as half widths by row.
[[nodiscard]] std::vector<int> DiscRows(int radius);

// Marks all that lies within a shape about each marked cell of `mask`. Runs are few where cells are
// many: each is drawn as wide as the shape, row by row.
//
//   half      half widths of the shape by row, an odd number of them; below 0: nothing
//   returns   CV_8UC1: 255 or 0
[[nodiscard]] cv::Mat Widened(const cv::Mat& mask, const std::vector<int>& half);

}  // namespace endgrade
