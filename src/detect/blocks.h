// Rows of values, a block at a time: where nothing stands out, most of a face is passed over.
#pragma once

#include <opencv2/core/hal/intrin.hpp>

#include <algorithm>

namespace endgrade {

constexpr int kCellsAtOnce = 8;  // cells

// Whether any value of a block is as far from zero as the bound.
inline bool AnyReaches(const float* values, float bound) {
  const cv::v_float32x4 first = cv::v_abs(cv::v_load(values));
  const cv::v_float32x4 second = cv::v_abs(cv::v_load(values + 4));
  return cv::v_check_any(cv::v_max(first, second) >= cv::v_setall_f32(bound));
}

// Hands the index of each value of a row that is as far from zero as the bound to `take`.
template <typename Take>
void ForEachReaching(const float* values, int count, float bound, Take take) {
  for (int begin = 0; begin < count; begin += kCellsAtOnce) {
    const int end = std::min(begin + kCellsAtOnce, count);
    if (end == begin + kCellsAtOnce && !AnyReaches(values + begin, bound)) continue;
    for (int x = begin; x < end; ++x) {
      if (values[x] >= bound || -values[x] >= bound) take(x);
    }
  }
}

}  // namespace endgrade
