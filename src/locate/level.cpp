#include "locate/level.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

namespace endgrade::locate {
namespace {

constexpr float kOutside = std::numeric_limits<float>::quiet_NaN();

float Bilinear(const cv::Mat& image, double x, double y) {
  // A pixel covers half a pixel around its centre; up to there its own value stands.
  if (!(x >= -0.5 && y >= -0.5 && x <= image.cols - 0.5 && y <= image.rows - 0.5)) return kOutside;
  const double cx = std::clamp(x, 0.0, image.cols - 1.0);
  const double cy = std::clamp(y, 0.0, image.rows - 1.0);
  const int x0 = std::min(static_cast<int>(cx), std::max(0, image.cols - 2));
  const int y0 = std::min(static_cast<int>(cy), std::max(0, image.rows - 2));
  const int x1 = std::min(x0 + 1, image.cols - 1);
  const int y1 = std::min(y0 + 1, image.rows - 1);
  const auto fx = static_cast<float>(cx - x0);
  const auto fy = static_cast<float>(cy - y0);
  const auto* upper = image.ptr<float>(y0);
  const auto* lower = image.ptr<float>(y1);
  const float top = upper[x0] + fx * (upper[x1] - upper[x0]);
  const float bottom = lower[x0] + fx * (lower[x1] - lower[x0]);
  return top + fy * (bottom - top);
}

// Exact means: rounding them to whole grey levels would cost the faintest rims.
template <typename Pixel>
void AverageBlocks(const cv::Mat& luma, int factor, double scale, cv::Mat* reduced) {
  const int width = reduced->cols * factor;
  std::vector<std::uint32_t> sums(static_cast<size_t>(width));
  const auto share = static_cast<float>(scale / (static_cast<double>(factor) * factor));
  for (int row = 0; row < reduced->rows; ++row) {
    std::fill(sums.begin(), sums.end(), 0U);
    for (int line = 0; line < factor; ++line) {
      const auto* in = luma.ptr<Pixel>(row * factor + line);
      for (size_t x = 0; x < sums.size(); ++x) sums[x] += in[x];
    }
    auto* out = reduced->ptr<float>(row);
    for (int column = 0; column < reduced->cols; ++column) {
      std::uint32_t sum = 0;
      for (int i = 0; i < factor; ++i) sum += sums[static_cast<size_t>(column * factor + i)];
      out[column] = static_cast<float>(sum) * share;
    }
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
  if (luma.depth() == CV_16U) {
    AverageBlocks<std::uint16_t>(luma(part), factor, 255.0 / white_level, &level.image);
  } else {
    AverageBlocks<std::uint8_t>(luma(part), factor, 255.0 / white_level, &level.image);
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
      const cv::Point2d unit(std::cos(angle), std::sin(angle));
      const cv::Point2d along = in_level.At(unit.x, unit.y, 1.0) - in_level.centre;
      for (int column = 0; column < grid.columns; ++column) {
        const cv::Point2d p = in_level.centre + along * map.RadiusAt(column);
        row[column] += Bilinear(level.image, p.x, p.y);
      }
    }
    const auto share = 1.0F / static_cast<float>(grid.averaged);
    for (int column = 0; column < grid.columns; ++column) row[column] *= share;
  }
  return map;
}

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
  cv::Mat slope(values.size(), CV_32F, cv::Scalar(static_cast<double>(kOutside)));
  for (int ray = 0; ray < values.rows; ++ray) {
    const auto* row = values.ptr<float>(ray);
    auto* out = slope.ptr<float>(ray);
    for (int column = reach; column < values.cols - reach; ++column) {
      float sum = 0.0F;
      for (int i = 1; i <= reach; ++i) {
        sum += kernel[static_cast<size_t>(i)] * (row[column + i] - row[column - i]);
      }
      out[column] = sum;
    }
  }
  return slope;
}

float Median(std::vector<float>& values) {
  if (values.empty()) return 0.0F;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double RobustSpread(const cv::Mat& values) {
  std::vector<float> sizes;
  sizes.reserve(values.total());
  for (int row = 0; row < values.rows; ++row) {
    const auto* p = values.ptr<float>(row);
    for (int column = 0; column < values.cols; ++column) {
      if (std::isfinite(p[column])) sizes.push_back(std::abs(p[column]));
    }
  }
  return 1.4826 * static_cast<double>(Median(sizes));
}

}  // namespace endgrade::locate
