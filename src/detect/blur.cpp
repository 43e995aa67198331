#include "detect/blur.h"

#include "core/wide.h"
#include "detect/blocks.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

namespace endgrade {
namespace {

// One side of a kernel that is the same on both, at `kAtOnce` times eight places from `x` on.
template <int kAtOnce>
[[gnu::always_inline]] inline void AddUpBlock(
    const float* const* middle, const float* kernel, int reach, int x, float* __restrict out) {
  std::array<Eight, kAtOnce> sum;
  for (int i = 0; i < kAtOnce; ++i) sum[i] = kernel[0] * EightAt(middle[0] + x + 8 * i).value;
  for (int j = 1; j <= reach; ++j) {
    const float* const before = middle[-j] + x;
    const float* const after = middle[j] + x;
    const float weight = kernel[j];
    for (int i = 0; i < kAtOnce; ++i) {
      sum[i] += weight * (EightAt(before + 8 * i).value + EightAt(after + 8 * i).value);
    }
  }
  for (int i = 0; i < kAtOnce; ++i) EightAt(out + x + 8 * i).value = sum[i];
}

//   lines     of `reach` before the middle one, the middle one, and of as many after it
//   places    of them
//   out       the lines' weighted sum there
ENDGRADE_WIDE void AddUp(const float* const* lines,
                         const float* kernel,
                         int reach,
                         const cv::Range& places,
                         float* __restrict out) {
  const float* const* const middle = lines + reach;
  const int end = places.end;
  int x = places.start;
  for (; x + 32 <= end; x += 32) AddUpBlock<4>(middle, kernel, reach, x, out);
  for (; x + 8 <= end; x += 8) AddUpBlock<1>(middle, kernel, reach, x, out);
  if (x < end && end - 8 >= places.start) {
    AddUpBlock<1>(middle, kernel, reach, end - 8, out);  // some once more
    return;
  }
  for (; x < end; ++x) {
    float sum = kernel[0] * middle[0][x];
    for (int j = 1; j <= reach; ++j) sum += kernel[j] * (middle[-j][x] + middle[j][x]);
    out[x] = sum;
  }
}

// The middle of a Gaussian of unit sum, and the weights to one side of it.
std::vector<float> HalfKernel(int reach, double sigma) {
  const cv::Mat kernel = cv::getGaussianKernel(2 * reach + 1, sigma, CV_32F);
  const auto* const weights = kernel.ptr<float>();
  return {weights + reach, weights + 2 * reach + 1};
}

// Which line stands for each one from `reach` before the first to `reach` after the last.
std::vector<int> Mirrored(int count, int reach) {
  std::vector<int> lines;
  for (int i = -reach; i < count + reach; ++i) {
    lines.push_back(cv::borderInterpolate(i, count, cv::BORDER_REFLECT_101));
  }
  return lines;
}

// From the first cell of a row that is not 0 to the last; a face's corners are. Where all are, its
// start lies at the row's end and its end at 0.
cv::Range Filled(const float* row, int count) {
  constexpr float kLeast = std::numeric_limits<float>::denorm_min();
  int begin = 0;
  while (begin + kCellsAtOnce <= count && !AnyReaches(row + begin, kLeast)) begin += kCellsAtOnce;
  while (begin < count && row[begin] == 0.0F) ++begin;
  if (begin == count) return {count, 0};
  int end = count;
  while (end - kCellsAtOnce >= begin && !AnyReaches(row + end - kCellsAtOnce, kLeast)) {
    end -= kCellsAtOnce;
  }
  while (end > begin && row[end - 1] == 0.0F) --end;
  return {begin, end};
}

// What holds all of these; none of those that are empty.
cv::Range Around(const cv::Range* filled, int count) {
  cv::Range around(std::numeric_limits<int>::max(), 0);
  for (int i = 0; i < count; ++i) {
    around.start = std::min(around.start, filled[i].start);
    around.end = std::max(around.end, filled[i].end);
  }
  return around.end > 0 ? around : cv::Range(0, 0);
}

}  // namespace

cv::Mat Blurred(const cv::Mat& image, double sigma) {
  const int reach = std::max(1, static_cast<int>(std::ceil(3.0 * sigma)));
  const int across = 2 * reach + 1;
  const std::vector<float> kernel = HalfKernel(reach, sigma);
  // All rows, and as many as are reached beyond the first and the last.
  std::vector<const float*> rows;
  std::vector<cv::Range> filled;
  for (const int y : Mirrored(image.rows, reach)) {
    rows.push_back(image.ptr<float>(y));
    filled.push_back(Filled(rows.back(), image.cols));
  }
  const std::vector<int> columns = Mirrored(image.cols, reach);
  std::vector<float> line(columns.size());  // a blurred column in each place, and past the borders
  float* const first = line.data() + reach;
  float* const last = first + image.cols;
  std::vector<const float*> shifted;
  for (int i = 0; i < across; ++i) shifted.push_back(line.data() + i);
  cv::Mat out(image.size(), CV_32FC1);
  constexpr int kRowsAtOnce = 8;
  cv::Range told;
  for (int y = 0; y < image.rows; ++y) {
    if (y % kRowsAtOnce == 0) {
      const int rows_left = std::min(kRowsAtOnce, image.rows - y);
      told = Around(filled.data() + y, across - 1 + rows_left);
    }
    std::fill(first, first + told.start, 0.0F);
    AddUp(rows.data() + y, kernel.data(), reach, told, first);
    std::fill(first + told.end, last, 0.0F);
    for (int i = 0; i < reach; ++i) {
      line[static_cast<std::size_t>(i)] = first[columns[static_cast<std::size_t>(i)]];
      last[i] = first[columns[columns.size() - static_cast<std::size_t>(reach - i)]];
    }
    // Further away than this from what is filled, all stays 0.
    const cv::Range reached(std::max(0, told.start - reach),
                            std::min(image.cols, told.end + reach));
    auto* const to = out.ptr<float>(y);
    std::fill(to, to + reached.start, 0.0F);
    AddUp(shifted.data(), kernel.data(), reach, reached, to);
    std::fill(to + reached.end, to + image.cols, 0.0F);
  }
  return out;
}

}  // namespace endgrade
