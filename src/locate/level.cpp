#include "locate/level.h"

#include "core/order_statistics.h"
#include "core/wide.h"
#include "locate/between_cells.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

namespace endgrade::locate {
namespace {

constexpr float kOutside = std::numeric_limits<float>::quiet_NaN();

// A pixel covers half a pixel around its centre; up to there its own value stands.
float Bilinear(const cv::Mat& image, float x, float y) {
  const auto right = static_cast<float>(image.cols - 1);
  const auto bottom = static_cast<float>(image.rows - 1);
  if (!(x >= -0.5F && y >= -0.5F && x <= right + 0.5F && y <= bottom + 0.5F)) return kOutside;
  const float cx = std::clamp(x, 0.0F, right);
  const float cy = std::clamp(y, 0.0F, bottom);
  const int x0 = std::min(static_cast<int>(cx), image.cols - 2);
  const int y0 = std::min(static_cast<int>(cy), image.rows - 2);
  const float fx = cx - static_cast<float>(x0);
  const float fy = cy - static_cast<float>(y0);
  const auto* upper = image.ptr<float>(y0) + x0;
  const auto* lower = image.ptr<float>(y0 + 1) + x0;
  const float top = upper[0] + fx * (upper[1] - upper[0]);
  const float low = lower[0] + fx * (lower[1] - lower[0]);
  return top + fy * (low - top);
}

// The same for a ray that lies inside the image.
ENDGRADE_WIDE void AddRayInside(
    const float* cells, int stride, cv::Point2f from, cv::Point2f step, int count, float* row) {
  BetweenCells between(cells, stride);
  const auto all = static_cast<size_t>(count);
  for (size_t first = 0; first < all; first += BetweenCells::kMost) {
    const size_t some = std::min(all - first, BetweenCells::kMost);
    for (size_t i = 0; i < some; i += BetweenCells::kEight) {
      const Eight steps = Eight{0, 1, 2, 3, 4, 5, 6, 7} + static_cast<float>(first + i);
      between.Set(i, from.x + step.x * steps, from.y + step.y * steps);
    }
    between.Add(row + first, some, row + first);
  }
}

// Adds the samples from `from` on, `step` apart, to `row`.
void AddRay(const cv::Mat& image, cv::Point2f from, cv::Point2f step, int count, float* row) {
  const cv::Point2f last = from + step * static_cast<float>(count - 1);
  const auto within = [&](cv::Point2f p) {
    return p.x >= 0.0F && p.y >= 0.0F && p.x < static_cast<float>(image.cols - 1) &&
           p.y < static_cast<float>(image.rows - 1);
  };
  if (!within(from) || !within(last)) {
    for (int i = 0; i < count; ++i) {
      const cv::Point2f p = from + step * static_cast<float>(i);
      row[i] += Bilinear(image, p.x, p.y);
    }
    return;
  }
  AddRayInside(image.ptr<float>(0), static_cast<int>(image.step1()), from, step, count, row);
}

template <typename Pixel, typename Sum>
[[gnu::always_inline]] inline void AddTo(const Pixel* in, std::size_t count, Sum* sums) {
  for (std::size_t x = 0; x < count; ++x) sums[x] = static_cast<Sum>(sums[x] + in[x]);
}
ENDGRADE_WIDE void AddRow(const std::uint8_t* __restrict in,
                          std::size_t count,
                          std::uint16_t* __restrict sums) {
  AddTo(in, count, sums);
}
ENDGRADE_WIDE void AddRow(const std::uint8_t* __restrict in,
                          std::size_t count,
                          std::uint32_t* __restrict sums) {
  AddTo(in, count, sums);
}
ENDGRADE_WIDE void AddRow(const std::uint16_t* __restrict in,
                          std::size_t count,
                          std::uint32_t* __restrict sums) {
  AddTo(in, count, sums);
}

// `kFactor` neighbours each, times `share`; `factor` of them where that is 0.
template <std::size_t kFactor, typename Sum>
[[gnu::always_inline]] inline void ShareBy(
    std::size_t factor, const Sum* sums, std::size_t count, float share, float* out) {
  const std::size_t each = kFactor > 0 ? kFactor : factor;
  for (std::size_t column = 0; column < count; ++column) {
    std::uint32_t sum = 0;
    for (std::size_t i = 0; i < each; ++i) sum += sums[column * each + i];
    // As a signed number, which it is small enough for: processors have no other conversion.
    out[column] = static_cast<float>(static_cast<std::int32_t>(sum)) * share;
  }
}
template <typename Sum>
[[gnu::always_inline]] inline void ShareAny(
    std::size_t factor, const Sum* sums, std::size_t count, float share, float* out) {
  switch (factor) {
    case 1:
      return ShareBy<1>(factor, sums, count, share, out);
    case 2:
      return ShareBy<2>(factor, sums, count, share, out);
    case 3:
      return ShareBy<3>(factor, sums, count, share, out);
    case 4:
      return ShareBy<4>(factor, sums, count, share, out);
    case 6:
      return ShareBy<6>(factor, sums, count, share, out);
    case 8:
      return ShareBy<8>(factor, sums, count, share, out);
    default:
      return ShareBy<0>(factor, sums, count, share, out);
  }
}
ENDGRADE_WIDE void Share(std::size_t factor,
                         const std::uint16_t* __restrict sums,
                         std::size_t count,
                         float share,
                         float* __restrict out) {
  ShareAny(factor, sums, count, share, out);
}
ENDGRADE_WIDE void Share(std::size_t factor,
                         const std::uint32_t* __restrict sums,
                         std::size_t count,
                         float share,
                         float* __restrict out) {
  ShareAny(factor, sums, count, share, out);
}

// Exact means: rounding them to whole grey levels would cost the faintest rims.
template <typename Pixel, typename Sum>
void AverageBlocks(const cv::Mat& luma, int factor, double scale, cv::Mat* reduced) {
  const auto columns = static_cast<std::size_t>(reduced->cols);
  std::vector<Sum> sums(columns * static_cast<std::size_t>(factor));
  const auto share = static_cast<float>(scale / (static_cast<double>(factor) * factor));
  for (int row = 0; row < reduced->rows; ++row) {
    std::fill(sums.begin(), sums.end(), Sum{0});
    for (int line = 0; line < factor; ++line) {
      AddRow(luma.ptr<Pixel>(row * factor + line), sums.size(), sums.data());
    }
    Share(static_cast<std::size_t>(factor), sums.data(), columns, share, reduced->ptr<float>(row));
  }
}

}  // namespace

RimFrame Level::FrameOf(const RimFrame& in_picture) const {
  RimFrame moved = in_picture;
  moved.centre -= cv::Point2d(origin);
  return moved.Reduced(factor);
}

RimFrame Level::PictureOf(const RimFrame& in_level) const {
  RimFrame moved = in_level.Enlarged(factor);
  moved.centre += cv::Point2d(origin);
  return moved;
}

Level MakeLevel(const cv::Mat& luma, double white_level, cv::Rect part, int factor) {
  Level level;
  level.factor = factor;
  level.origin = part.tl();
  // Whole blocks only, so that every pixel of the level is the mean of as many pixels.
  level.image.create(part.height / factor, part.width / factor, CV_32F);
  constexpr int kFewBytes = 256;  // in one column: their sum has sixteen bits
  const cv::Mat seen = luma(part);
  const double scale = 255.0 / white_level;
  if (luma.depth() == CV_16U) {
    AverageBlocks<std::uint16_t, std::uint32_t>(seen, factor, scale, &level.image);
  } else if (factor <= kFewBytes) {
    AverageBlocks<std::uint8_t, std::uint16_t>(seen, factor, scale, &level.image);
  } else {
    AverageBlocks<std::uint8_t, std::uint32_t>(seen, factor, scale, &level.image);
  }
  return level;
}

Level HalveLevel(const Level& level) {
  const cv::Rect whole(
      0, 0, level.image.cols - level.image.cols % 2, level.image.rows - level.image.rows % 2);
  Level half;
  half.factor = level.factor * 2.0;
  half.origin = level.origin;
  cv::resize(
      level.image(whole), half.image, {whole.width / 2, whole.height / 2}, 0, 0, cv::INTER_AREA);
  return half;
}

PolarMap SampleRays(const Level& level, const RimFrame& in_level, PolarGrid grid) {
  PolarMap map;
  map.first = grid.from;
  map.step = (grid.to - grid.from) / (grid.columns - 1);
  map.values.create(grid.rays, grid.columns, CV_32F);
  const int all = grid.rays * grid.averaged;
  for (int ray = 0; ray < grid.rays; ++ray) {
    auto* row = map.values.ptr<float>(ray);
    std::fill(row, row + grid.columns, 0.0F);
    for (int i = 0; i < grid.averaged; ++i) {
      const double turn = ray + (i + 0.5) / grid.averaged - 0.5;
      const double angle = 2.0 * CV_PI * turn * grid.averaged / all;
      const cv::Point2d rim = in_level.At(std::cos(angle), std::sin(angle), 1.0);
      const cv::Point2d along = rim - in_level.centre;
      AddRay(level.image,
             cv::Point2f(in_level.centre + along * map.first),
             cv::Point2f(along * map.step),
             grid.columns,
             row);
    }
    const auto share = 1.0F / static_cast<float>(grid.averaged);
    for (int column = 0; column < grid.columns; ++column) row[column] *= share;
  }
  return map;
}

namespace {

// `kernel` is one half of an odd one, whose middle is 0.
ENDGRADE_WIDE void Slope(const float* row,
                         size_t count,
                         const std::vector<float>& kernel,
                         float* __restrict out) {
  const auto reach = static_cast<std::ptrdiff_t>(kernel.size()) - 1;
  size_t from = 0;
  for (; from + 8 <= count; from += 8) {
    Eight sum = {};
    for (std::ptrdiff_t i = 1; i <= reach; ++i) {
      const float* at = row + from;
      sum += kernel[static_cast<size_t>(i)] * (EightAt(at + i).value - EightAt(at - i).value);
    }
    EightAt(out + from).value = sum;
  }
  for (; from < count; ++from) {
    float sum = 0.0F;
    for (std::ptrdiff_t i = 1; i <= reach; ++i) {
      const float* at = row + from;
      sum += kernel[static_cast<size_t>(i)] * (at[i] - at[-i]);
    }
    out[from] = sum;
  }
}

}  // namespace

cv::Mat SlopeAlongRays(const cv::Mat& values, double sigma) {
  const int reach = std::max(1, static_cast<int>(std::ceil(2.5 * sigma)));
  std::vector<float> kernel(static_cast<size_t>(reach) + 1);
  double moment = 0.0;
  for (int i = 1; i <= reach; ++i) {
    const double weight = i * std::exp(-0.5 * i * i / (sigma * sigma));
    kernel[static_cast<size_t>(i)] = static_cast<float>(weight);
    moment += 2.0 * i * weight;
  }
  for (float& weight : kernel) weight /= static_cast<float>(moment);
  cv::Mat slope(values.size(), CV_32F);
  for (int ray = 0; ray < values.rows; ++ray) {
    const auto* row = values.ptr<float>(ray);
    auto* out = slope.ptr<float>(ray);
    std::fill_n(out, std::min(reach, values.cols), kOutside);
    std::fill(out + std::max(0, values.cols - reach), out + values.cols, kOutside);
    if (values.cols <= 2 * reach) continue;
    Slope(row + reach, static_cast<size_t>(values.cols - 2 * reach), kernel, out + reach);
  }
  return slope;
}

float Median(const std::vector<float>& values) {
  if (values.empty()) return 0.0F;
  return OrderStatistics(values).At(values.size() / 2);
}

double RobustSpread(const cv::Mat& values) {
  std::vector<float> sizes(values.total());
  std::size_t known = 0;
  for (int row = 0; row < values.rows; ++row) {
    const auto* p = values.ptr<float>(row);
    for (int column = 0; column < values.cols; ++column) {
      sizes[known] = std::abs(p[column]);
      known += std::isfinite(p[column]) ? 1 : 0;
    }
  }
  sizes.resize(known);
  if (sizes.empty()) return 0.0;
  const auto rank = static_cast<std::size_t>(0.35 * static_cast<double>(sizes.size()));
  // P(|z| < 0.4538) = 0.35 for the normal distribution.
  return static_cast<double>(OrderStatistics(sizes).At(rank)) / 0.4538;
}

}  // namespace endgrade::locate
