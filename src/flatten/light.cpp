#include "flatten/light.h"

#include "core/wide.h"
#include "flatten/polar_samples.h"
#include "flatten/robust_fit.h"

#include <cmath>

namespace endgrade {
namespace {

// 2,000 places are plenty for 11 numbers: a circle every two micrometres, 64 directions on each.
constexpr double kLightStepUm = 2.0;
constexpr int kLightDirections = 64;
constexpr size_t kFour = 4;

// Light::Uneven at four places, in the same order of sums.
ENDGRADE_WIDE void UnevenAtFours(const double* coefficients,
                                 const double* x_um,
                                 const double* y_um,
                                 size_t count,
                                 double* __restrict values) {
  const double* const c = coefficients;
  for (size_t i = 0; i < count; i += kFour) {
    const Four um_x = FourAt(x_um + i).value;
    const Four um_y = FourAt(y_um + i).value;
    const Four x = um_x / kUnitUm;
    const Four y = um_y / kUnitUm;
    const Four r2 = x * x + y * y;
    const Four basis[kLightColumns] = {Four{1.0, 1.0, 1.0, 1.0},
                                       x,
                                       y,
                                       x * x,
                                       x * y,
                                       y * y,
                                       x * x * x,
                                       x * x * y,
                                       x * y * y,
                                       y * y * y,
                                       r2 * r2};
    Four sum = {};
    for (size_t k = 0; k < kLightColumns; ++k) sum += c[k] * basis[k];
    const Four mean_r2 = (um_x * um_x + um_y * um_y) / (kUnitUm * kUnitUm);
    const Four mean = c[0] + 0.5 * (c[3] + c[5]) * mean_r2 + c[10] * mean_r2 * mean_r2;
    FourAt(values + i).value = sum - mean;
  }
}

// LightGrid's blocks of eight, the first between the first three nodes.
ENDGRADE_WIDE void ReadBlocks(const float* nodes, int count, float* __restrict out) {
  static_assert(LightGrid::kGrid == 8);
  // Of the first two nodes, for the first half; of the last two, for the other.
  constexpr Eight kPlaces = {0.5F, 1.5F, 2.5F, 3.5F, 0.5F, 1.5F, 2.5F, 3.5F};
  constexpr Eight kMiddle = {0.5F, 0.5F, 0.5F, 0.5F, 0.0F, 0.0F, 0.0F, 0.0F};
  const Eight after = kMiddle + kPlaces / 8.0F;
  const Eight before = 1.0F - after;
  for (int i = 0; i < count; ++i, ++nodes, out += LightGrid::kGrid) {
    const float a = nodes[0];
    const float b = nodes[1];
    const float c = nodes[2];
    const Eight left = {a, a, a, a, b, b, b, b};
    const Eight right = {b, b, b, b, c, c, c, c};
    EightAt(out).value = left * before + right * after;
  }
}

}  // namespace

void Light::UnevenAtEach(std::span<const double> x_um,
                         std::span<const double> y_um,
                         double* values) const {
  const size_t fours = x_um.size() / kFour * kFour;
  UnevenAtFours(coefficients_.data(), x_um.data(), y_um.data(), fours, values);
  for (size_t i = fours; i < x_um.size(); ++i) values[i] = Uneven({x_um[i], y_um[i]});
}

Light FitLight(const ContrastMap& map, const Scale& scale, double from_um, double to_um) {
  const PolarSamples samples =
      ReadCircles(map, scale, {0, 0}, {from_um, to_um, kLightStepUm, kLightDirections});
  std::vector<double> rows;
  std::vector<double> values;
  std::vector<double> weights;
  rows.reserve(samples.values.size() * kLightColumns);
  values.reserve(samples.values.size());
  weights.reserve(samples.values.size());
  for (int i = 0; i < samples.num_radii; ++i) {
    for (int d = 0; d < samples.num_directions; ++d) {
      const float value = samples.At(i, d);
      if (std::isnan(value)) continue;
      rows.resize(rows.size() + kLightColumns);
      LightBasis(samples.PlaceUm(i, d), rows.data() + rows.size() - kLightColumns);
      values.push_back(static_cast<double>(value));
      weights.push_back(samples.Radius(i) + 0.25 * kLightStepUm);
    }
  }
  return Light(FitRobust(rows, values, weights, kLightColumns, kLeastSigma));
}

LightGrid::LightGrid(const ContrastMap& map,
                     const Scale& scale,
                     const Light& glass,
                     const Light& ferrule) {
  const cv::Size size(map.level.cols / kGrid + 3, map.level.rows / kGrid + 3);
  for (size_t s = 0; s < kSurfaces; ++s) {
    coarse_[s] = cv::Mat(size, CV_32FC1);
    line_[s].resize(static_cast<size_t>(size.width));
  }
  // Node i is the middle of cells [kGrid * (i - 1), kGrid * i).
  const double first = -kGrid + 0.5 * (kGrid - 1);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const cv::Point2d cell(first + kGrid * x, first + kGrid * y);
      const cv::Point2d um = scale.ToUm(map.PxFromCell(cell));
      double row[kLightColumns];
      LightBasis(um, row);
      const double on_glass = glass.Of(row);
      const double on_ferrule = ferrule.Of(row);
      coarse_[kGlass].at<float>(y, x) = static_cast<float>(on_glass);
      coarse_[kFerrule].at<float>(y, x) = static_cast<float>(on_ferrule);
      coarse_[kUnevenGlass].at<float>(y, x) = static_cast<float>(on_glass - glass.RingMean(um));
      coarse_[kUnevenFerrule].at<float>(y, x) =
          static_cast<float>(on_ferrule - ferrule.RingMean(um));
    }
  }
}

void LightGrid::GoToRow(int row) {
  const double place = (row + 0.5) / kGrid + 0.5;
  const int above = static_cast<int>(place);
  const auto part = static_cast<float>(place - above);
  for (size_t s = 0; s < kSurfaces; ++s) {
    const auto* upper = coarse_[s].ptr<float>(above);
    const auto* lower = coarse_[s].ptr<float>(above + 1);
    for (size_t i = 0; i < line_[s].size(); ++i) {
      line_[s][i] = upper[i] * (1.0F - part) + lower[i] * part;
    }
  }
}

void LightGrid::Read(Surface surface, int first, int count, float* out) const {
  ReadBlocks(line_[surface].data() + first, count, out);
}

}  // namespace endgrade
