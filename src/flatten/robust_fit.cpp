#include "flatten/robust_fit.h"

#include "core/wide.h"
#include "flatten/weighted_least_squares.h"
#include "flatten/weighted_median.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kMostRounds = 8;
constexpr double kSettled =
    1e-3;  // of the reach: a round that moves no residual by more is the last
constexpr double kSigmasOfMad = 1.4826;

// Tukey's biweight of each residual, times how much it counts before.
ENDGRADE_WIDE void Reweigh(const double* residuals,
                           const double* weights,
                           size_t count,
                           double reach,
                           double* __restrict robust) {
  for (size_t i = 0; i < count; ++i) {
    const double u = residuals[i] / reach;
    const double near = 1.0 - u * u;
    const double keep = std::abs(u) < 1.0 ? near * near : 0.0;
    robust[i] = weights[i] * keep;
  }
}

}  // namespace

std::vector<double> FitRobust(const std::vector<double>& rows,
                              const std::vector<double>& values,
                              const std::vector<double>& weights,
                              int columns,
                              double floor,
                              double tukey) {
  const auto width = static_cast<size_t>(columns);
  std::vector<double> coefficients(width, 0.0);
  if (values.size() < width) return coefficients;

  const WeightedLeastSquares observations(rows, values, columns);
  WeightedMedian median(weights);  // dirt over less than half of the area cannot move it
  const double start = median.Of(values);
  std::vector<double> residuals(values.size());
  for (size_t i = 0; i < values.size(); ++i) residuals[i] = values[i] - start;
  std::vector<double> sizes(values.size());
  std::vector<double> robust(values.size());
  std::vector<double> before;
  double reach = 0;
  for (int round = 0; round < kMostRounds; ++round) {
    if (round > 0) {
      before.swap(residuals);
      observations.Residuals(coefficients, &residuals);
      if (cv::norm(residuals, before, cv::NORM_INF) < kSettled * reach) break;
    }
    std::transform(residuals.begin(), residuals.end(), sizes.begin(), [](double residual) {
      return std::abs(residual);
    });
    reach = tukey * std::max(floor, kSigmasOfMad * median.Of(sizes));
    Reweigh(residuals.data(), weights.data(), values.size(), reach, robust.data());
    coefficients = observations.Solve(robust);
  }
  return coefficients;
}

}  // namespace endgrade
