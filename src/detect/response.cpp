#include "detect/response.h"

#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

// A response's noise is never believed to be below this share of the face's own brightness: the
// fitted clean face is no better than that. Measured on clean renders; see the bench.
constexpr double kModelFloor = 0.0012;

// Fewest independent places within a ring for a noise of its own; below it, the glass's is used.
constexpr double kLeastPlaces = 24.0;

// What is left at the rim once its ring is taken out is not noise but the rim's own unevenness: a
// chip must stand out of it by this much more.
constexpr double kRimDoubt = 1.5;

// Standard score that 0.5 % of a Gaussian lies above.
constexpr float kTailScore = 2.576F;
constexpr float kMostTail = 2.5F;

cv::Mat Blur(const cv::Mat& image, double sigma) {
  cv::Mat out;
  const int reach = std::max(1, static_cast<int>(std::ceil(3.0 * sigma)));
  cv::GaussianBlur(
      image, out, cv::Size(2 * reach + 1, 2 * reach + 1), sigma, sigma, cv::BORDER_REFLECT_101);
  return out;
}

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

// The residual under the wider Gaussian, from the one under the narrower: a Gaussian of a Gaussian
// adds variances. It is so smooth that half of the cells are enough.
cv::Mat Surround(const cv::Mat& smooth, double wide_sigma, double narrow_sigma) {
  cv::Mat half;
  cv::resize(
      smooth, half, cv::Size((smooth.cols + 1) / 2, (smooth.rows + 1) / 2), 0, 0, cv::INTER_AREA);
  const double box_variance = 3.0 / 12.0;  // of averaging two cells
  const double variance = wide_sigma * wide_sigma - narrow_sigma * narrow_sigma - box_variance;
  cv::Mat wide = Blur(half, 0.5 * std::sqrt(std::max(0.25, variance)));
  cv::Mat out;
  cv::resize(wide, out, smooth.size(), 0, 0, cv::INTER_LINEAR);
  return out;
}

// How much further than a Gaussian's the tails reach. Dirt stands out to one side, mostly; grain to
// both: the lesser of the two sides is the grain's.
float TailFactor(std::vector<float>& values, float sigma) {
  if (values.size() < 2000 || sigma <= 0.0F) return 1.0F;
  const auto quantile = [&](double q) {
    const auto at =
        values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return *at;
  };
  const float low = -quantile(0.005);
  const float high = quantile(0.995);
  return std::clamp(std::min(low, high) / (kTailScore * sigma), 1.0F, kMostTail);
}

// The three materials whose noise is pooled where a ring of its own is too small to count.
enum Material { kGlass, kRim, kFerrule, kMaterials };

Material MaterialOf(double inner_um, double outer_um, double rim_um) {
  if (outer_um < rim_um - 4.5) return kGlass;
  return inner_um > rim_um + 5.5 ? kFerrule : kRim;
}

RingNoise MeasureResponseNoise(const ContrastMap& map, const Response& response) {
  const auto& edges = map.ring_edges_um;
  const size_t count = edges.size() - 1;
  std::vector<Material> material(count);
  for (size_t i = 0; i < count; ++i) {
    material[i] = MaterialOf(edges[i], edges[i + 1], map.cladding_radius_um);
  }
  std::vector<std::vector<float>> rings(count);
  // Cells that share a smoothing are one independent value: a few samples of each are enough.
  const double cells = response.sigma_cells / response.reduction;
  const double correlated = 4.0 * CV_PI * cells * cells;
  const int stride = std::clamp(static_cast<int>(correlated / 4.0), 1, 13);
  const auto furthest = static_cast<float>(map.outer_um);
  for (int row = 0; row < response.band.rows; ++row) {
    const auto* band = response.band.ptr<float>(row);
    const auto* radius = response.radius_um.ptr<float>(row);
    for (int column = (5 * row) % stride; column < response.band.cols; column += stride) {
      if (radius[column] >= furthest) continue;
      rings[map.RingOf(radius[column])].push_back(band[column]);
    }
  }
  const auto floor = static_cast<float>(kModelFloor * map.glass_level);
  std::array<double, kMaterials> pooled{};
  std::array<double, kMaterials> tails{};
  for (int m = 0; m < kMaterials; ++m) {
    std::vector<float> all;
    for (size_t i = 0; i < count; ++i) {
      if (material[i] == m) all.insert(all.end(), rings[i].begin(), rings[i].end());
    }
    std::vector<float> copy = all;
    const float sigma = std::max(floor, RobustSigma(copy));
    pooled[static_cast<size_t>(m)] = static_cast<double>(sigma);
    tails[static_cast<size_t>(m)] =
        m == kGlass ? 1.0
                    : static_cast<double>(TailFactor(all, sigma)) * (m == kRim ? kRimDoubt : 1.0);
  }
  const double place = correlated / stride;  // samples of one independent value
  std::vector<double> sigmas(count);
  for (size_t i = 0; i < count; ++i) {
    const double pool = pooled[material[i]];
    const bool on_glass = material[i] == kGlass;
    const double shot =
        map.glass_noise > 0 ? std::max(1.0, map.ring_noise[i] / map.glass_noise) : 1.0;
    const double tail = tails[material[i]];
    sigmas[i] = pool * (on_glass ? shot : tail);
    if (static_cast<double>(rings[i].size()) / place < kLeastPlaces) continue;
    const float own = std::max(floor, RobustSigma(rings[i]));
    sigmas[i] = static_cast<double>(own) * tail;
    // Even light makes the glass one population: a ring of it is not believed to be quieter.
    if (on_glass) sigmas[i] = std::max(sigmas[i], 0.8 * pool);
  }
  return {map, std::move(sigmas)};
}

}  // namespace

RingNoise::RingNoise(const ContrastMap& map, std::vector<double> sigmas)
    : sigmas_(std::move(sigmas)) {
  by_quarter_um_.reserve(map.ring_by_quarter_um.size());
  for (const auto ring : map.ring_by_quarter_um) {
    by_quarter_um_.push_back(static_cast<float>(sigmas_[ring]));
  }
}

Response RespondAtScale(const ContrastMap& map, const cv::Mat& residual, double sigma_cells) {
  Response response;
  response.sigma_cells = sigma_cells;
  while (sigma_cells / (2.0 * response.reduction) >= 1.4) response.reduction *= 2;
  const int reduction = response.reduction;
  response.radius_um = Reduce(map.radius_um, reduction);
  const cv::Mat reduced = Reduce(residual, reduction);
  // Averaging over `reduction` cells has itself blurred by a box of that width.
  const double box_variance = (reduction * reduction - 1) / 12.0;
  const double own = std::sqrt(std::max(0.25, sigma_cells * sigma_cells - box_variance));
  response.smooth = Blur(reduced, own / reduction);
  cv::subtract(response.smooth,
               Surround(response.smooth, kSurroundRatio * sigma_cells / reduction, own / reduction),
               response.band);
  response.noise = MeasureResponseNoise(map, response);
  return response;
}

}  // namespace endgrade
