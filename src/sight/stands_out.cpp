#include "sight/stands_out.h"

#include "core/wide.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cstdint>

namespace endgrade {
namespace {

constexpr int kMedianReach = 2;
constexpr int kMedianSide = 2 * kMedianReach + 1;
constexpr int kHalf = kMedianSide * kMedianSide / 2;

constexpr int kEight = 8;

// A value differs from the median of the values around it where it differs so from more than half
// of them, to the same side: no median is needed. `rows`: from two above on, from two before.
ENDGRADE_WIDE void MarkRow(const float* const* rows,
                           float least,
                           int count,
                           std::uint8_t* __restrict marks) {
  using Counts = decltype(Eight{} > Eight{});  // 0 or -1 each
  for (int x = 0; x < count; x += kEight) {
    const Eight here = EightAt(rows[kMedianReach] + kMedianReach + x).value;
    Counts higher = {};
    Counts lower = {};
    for (int j = 0; j < kMedianSide; ++j) {
      for (int i = 0; i < kMedianSide; ++i) {
        const Eight over = here - EightAt(rows[j] + i + x).value;
        higher -= over > least;
        lower -= over < -least;
      }
    }
    const Counts either = (higher > kHalf) | (lower > kHalf);
    for (int i = 0; i < std::min(kEight, count - x); ++i) {
      marks[x + i] = static_cast<std::uint8_t>(either[i]);
    }
  }
}

}  // namespace

cv::Mat StandsOut(const cv::Mat& values, float least) {
  cv::Mat padded;
  cv::copyMakeBorder(values,
                     padded,
                     kMedianReach,
                     kMedianReach,
                     kMedianReach,
                     kMedianReach + kEight,
                     cv::BORDER_REPLICATE);
  cv::Mat marks(values.size(), CV_8UC1);
  const float* rows[kMedianSide];
  for (int y = 0; y < values.rows; ++y) {
    for (int j = 0; j < kMedianSide; ++j) rows[j] = padded.ptr<float>(y + j);
    MarkRow(rows, least, values.cols, marks.ptr(y));
  }
  return marks;
}

}  // namespace endgrade
