#include "detect/response.h"

#include "core/wide.h"
#include "detect/blur.h"

#include <opencv2/core/hal/hal.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

cv::Mat Reduce(const cv::Mat& image, int reduction) {
  if (reduction == 1) return image;
  cv::Mat out;
  const cv::Size size(image.cols / reduction, image.rows / reduction);
  cv::resize(image(cv::Rect(0, 0, size.width * reduction, size.height * reduction)),
             out,
             size,
             0,
             0,
             cv::INTER_AREA);
  return out;
}

ENDGRADE_WIDE void SquaredRadii(
    const cv::Matx22f& m, float middle_x, float dy, int count, float* __restrict squared) {
  const float xx = m(0, 0), yx = m(1, 0);
  const float xy = m(0, 1) * dy, yy = m(1, 1) * dy;
  for (int x = 0; x < count; ++x) {
    const float dx = static_cast<float>(x) - middle_x;
    const float x_um = xx * dx + xy;
    const float y_um = yx * dx + yy;
    squared[x] = x_um * x_um + y_um * y_um;
  }
}

ENDGRADE_WIDE void Bend(float bend, float least, int count, float* radius) {
  for (int x = 0; x < count; ++x) radius[x] += bend / std::max(radius[x], least);
}

// Mean distance from the centre over blocks of cells: that of the block's middle, and by how much
// more the distance bends away from it: half its Laplacian 1 / r times the block's variance.
cv::Mat RadiusOfBlocks(const ContrastMap& map, int reduction) {
  cv::Mat radius_um(map.level.rows / reduction, map.level.cols / reduction, CV_32FC1);
  const cv::Matx22f m(map.um_from_cell * static_cast<double>(reduction));
  const auto middle_x = static_cast<float>((map.centre_cell.x + 0.5) / reduction - 0.5);
  const auto middle_y = static_cast<float>((map.centre_cell.y + 0.5) / reduction - 0.5);
  const auto block_um = static_cast<float>(reduction * map.um_per_cell);
  const float bend = block_um * block_um / 24.0F;
  for (int y = 0; y < radius_um.rows; ++y) {
    auto* radius = radius_um.ptr<float>(y);
    const float dy = static_cast<float>(y) - middle_y;
    SquaredRadii(m, middle_x, dy, radius_um.cols, radius);
    cv::hal::sqrt32f(radius, radius, radius_um.cols);
    Bend(bend, 0.4F * block_um, radius_um.cols, radius);
  }
  return radius_um;
}

// Means of 2 x 2 cells; of what there is at an odd border.
cv::Mat Halve(const cv::Mat& image) {
  cv::Mat half((image.rows + 1) / 2, (image.cols + 1) / 2, CV_32FC1);
  const cv::Size whole(image.cols / 2, image.rows / 2);
  const auto shrink = [&](const cv::Rect& from, const cv::Rect& to) {
    if (from.empty()) return;
    cv::Mat out = half(to);
    cv::resize(image(from), out, out.size(), 0, 0, cv::INTER_AREA);
  };
  const cv::Rect inside(0, 0, 2 * whole.width, 2 * whole.height);
  const bool odd_column = image.cols > inside.width;
  const bool odd_row = image.rows > inside.height;
  shrink(inside, cv::Rect(cv::Point(), whole));
  if (odd_column) {
    shrink({inside.width, 0, 1, inside.height}, {whole.width, 0, 1, whole.height});
  }
  if (odd_row) shrink({0, inside.height, inside.width, 1}, {0, whole.height, whole.width, 1});
  if (odd_column && odd_row)
    half.at<float>(whole) = image.at<float>(image.rows - 1, image.cols - 1);
  return half;
}

// 0.75 a + 0.25 b
ENDGRADE_WIDE void Mix(const float* a, const float* b, int count, float* __restrict mixed) {
  for (int i = 0; i < count; ++i) mixed[i] = 0.75F * a[i] + 0.25F * b[i];
}

// Takes off two cells for each of `mixed`, which has one more on either side.
ENDGRADE_WIDE void TakeOffPairs(const float* __restrict in,
                                const float* __restrict mixed,
                                int pairs,
                                float* __restrict out) {
  int i = 0;
  for (; i + 8 <= pairs; i += 8) {
    const Eight own = 0.75F * EightAt(mixed + i).value;
    const Eight left = own + 0.25F * EightAt(mixed + i - 1).value;
    const Eight right = own + 0.25F * EightAt(mixed + i + 1).value;
    // One of either in turn.
    const Eight first = __builtin_shufflevector(left, right, 0, 8, 1, 9, 2, 10, 3, 11);
    const Eight second = __builtin_shufflevector(left, right, 4, 12, 5, 13, 6, 14, 7, 15);
    EightAt(out + 2 * i).value = EightAt(in + 2 * i).value - first;
    EightAt(out + 2 * i + 8).value = EightAt(in + 2 * i + 8).value - second;
  }
  for (; i < pairs; ++i) {
    out[2 * i] = in[2 * i] - (0.75F * mixed[i] + 0.25F * mixed[i - 1]);
    out[2 * i + 1] = in[2 * i + 1] - (0.75F * mixed[i] + 0.25F * mixed[i + 1]);
  }
}

// image - wide, where `wide` has half as many cells and is read between them: out of a row of cells
// that each stand for two, each of the two is three parts its own and one part its neighbour's.
cv::Mat MinusDoubled(const cv::Mat& image, const cv::Mat& wide) {
  cv::Mat out(image.size(), CV_32FC1);
  std::vector<float> line(static_cast<size_t>(wide.cols) + 2);
  for (int y = 0; y < image.rows; ++y) {
    const auto* own = wide.ptr<float>(y / 2);
    const auto* beside =
        wide.ptr<float>(std::clamp(y / 2 + (y % 2 == 0 ? -1 : 1), 0, wide.rows - 1));
    float* mixed = line.data() + 1;
    Mix(own, beside, wide.cols, mixed);
    mixed[-1] = mixed[0];
    mixed[wide.cols] = mixed[wide.cols - 1];
    const auto* in = image.ptr<float>(y);
    auto* to = out.ptr<float>(y);
    const int pairs = image.cols / 2;
    TakeOffPairs(in, mixed, pairs, to);
    if (image.cols % 2 == 1) {
      to[2 * pairs] = in[2 * pairs] - (0.75F * mixed[pairs] + 0.25F * mixed[pairs - 1]);
    }
  }
  return out;
}

// The residual under the narrower Gaussian less the one under the wider: a Gaussian of a Gaussian
// adds variances. The wider one is so smooth that half of the cells are enough.
cv::Mat BandOf(const cv::Mat& smooth, double wide_sigma, double narrow_sigma) {
  const double box_variance = 3.0 / 12.0;  // of averaging two cells
  const double variance = wide_sigma * wide_sigma - narrow_sigma * narrow_sigma - box_variance;
  return MinusDoubled(smooth, Blurred(Halve(smooth), 0.5 * std::sqrt(std::max(0.25, variance))));
}

}  // namespace

Response SmoothAtScale(const ContrastMap& map,
                       const cv::Mat& residual,
                       double sigma_cells,
                       Reduced* kept) {
  Response response;
  response.sigma_cells = sigma_cells;
  while (sigma_cells / (2.0 * response.reduction) >= 1.4) response.reduction *= 2;
  const int reduction = response.reduction;
  Reduced own;
  Reduced& reduced = kept != nullptr ? *kept : own;
  if (reduced.reduction != reduction) {
    reduced.reduction = reduction;
    reduced.residual = Reduce(residual, reduction);
    reduced.radius_um = reduction == 1 ? map.radius_um : RadiusOfBlocks(map, reduction);
  }
  response.radius_um = reduced.radius_um;
  // Averaging over `reduction` cells has itself blurred by a box of that width.
  const double box_variance = (reduction * reduction - 1) / 12.0;
  response.own_sigma = std::sqrt(std::max(0.25, sigma_cells * sigma_cells - box_variance));
  response.smooth = Blurred(reduced.residual, response.own_sigma / reduction);
  return response;
}

Response RespondAtScale(const ContrastMap& map,
                        const cv::Mat& residual,
                        double sigma_cells,
                        Reduced* kept) {
  Response response = SmoothAtScale(map, residual, sigma_cells, kept);
  const int reduction = response.reduction;
  response.band = BandOf(
      response.smooth, kSurroundRatio * sigma_cells / reduction, response.own_sigma / reduction);
  response.noise = MeasureResponseNoise(map, response);
  return response;
}

}  // namespace endgrade
