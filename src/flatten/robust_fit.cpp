#include "flatten/robust_fit.h"

#include "core/wide.h"
#include "flatten/cell_grid.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kRounds = 8;

double Predict(const double* row, const std::vector<double>& coefficients) {
  double sum = 0.0;
  for (size_t c = 0; c < coefficients.size(); ++c) sum += row[c] * coefficients[c];
  return sum;
}

// Rows are padded to a length that is known here, so that each takes a few vector operations.
constexpr size_t kPadded = 12;

struct NormalEquations {
  std::array<std::array<double, kPadded>, kPadded> products{};
  std::array<double, kPadded> sums{};
};

ENDGRADE_WIDE void AddRows(const double* rows,
                           const double* values,
                           const double* weights,
                           size_t count,
                           size_t width,
                           NormalEquations* equations) {
  std::array<double, kPadded> row{};
  for (size_t i = 0; i < count; ++i) {
    if (weights[i] <= 0.0) continue;
    std::copy_n(rows + i * width, width, row.begin());
    for (size_t a = 0; a < width; ++a) {
      const double weighted = weights[i] * row[a];
      for (size_t b = 0; b < kPadded; ++b) equations->products[a][b] += weighted * row[b];
      equations->sums[a] += weighted * values[i];
    }
  }
}

std::vector<double> SolveWeighted(const std::vector<double>& rows,
                                  const std::vector<double>& values,
                                  const std::vector<double>& weights,
                                  int columns) {
  const auto width = static_cast<size_t>(columns);
  CV_Assert(width <= kPadded);
  NormalEquations equations;
  AddRows(rows.data(), values.data(), weights.data(), values.size(), width, &equations);
  cv::Mat normal(columns, columns, CV_64F);
  cv::Mat right(columns, 1, CV_64F);
  for (int a = 0; a < columns; ++a) {
    const auto& from = equations.products[static_cast<size_t>(a)];
    std::copy_n(from.begin(), width, normal.ptr<double>(a));
    right.at<double>(a) = equations.sums[static_cast<size_t>(a)];
  }
  cv::completeSymm(normal, true);
  cv::Mat solution;
  cv::solve(normal, right, solution, cv::DECOMP_SVD);
  return {solution.begin<double>(), solution.end<double>()};
}

using Weighted = std::pair<double, double>;  // value, weight

// Weighted median of the values: the start of the robust rounds, which dirt over less than half of
// the area cannot move. Halves what it is looked for in until little is left.
double WeightedMedian(const std::vector<double>& values, const std::vector<double>& weights) {
  constexpr std::ptrdiff_t kFew = 32;
  if (values.empty()) return 0.0;
  std::vector<Weighted> all(values.size());
  double total = 0.0;
  for (size_t i = 0; i < values.size(); ++i) {
    all[i] = {values[i], weights[i]};
    total += weights[i];
  }
  auto begin = all.begin();
  auto end = all.end();
  double below = 0.0;
  while (end - begin > kFew) {
    const auto middle = begin + (end - begin) / 2;
    std::nth_element(begin, middle, end);
    double here = 0.0;
    for (auto i = begin; i != middle; ++i) here += i->second;
    if (below + here >= 0.5 * total) {
      end = middle;
    } else {
      below += here;
      begin = middle;
    }
  }
  std::sort(begin, end);
  for (auto i = begin; i != end; ++i) {
    below += i->second;
    if (below >= 0.5 * total) return i->first;
  }
  return (end - 1)->first;
}

double Spread(const std::vector<double>& residuals, const std::vector<double>& weights) {
  std::vector<double> sizes(residuals.size());
  for (size_t i = 0; i < residuals.size(); ++i) sizes[i] = std::abs(residuals[i]);
  return 1.4826 * WeightedMedian(sizes, weights);
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

  const double start = WeightedMedian(values, weights);
  std::vector<double> residuals(values.size());
  for (size_t i = 0; i < values.size(); ++i) residuals[i] = values[i] - start;
  std::vector<double> robust = weights;
  for (int round = 0; round < kRounds; ++round) {
    const double reach = tukey * std::max(floor, Spread(residuals, weights));
    for (size_t i = 0; i < values.size(); ++i) {
      const double u = residuals[i] / reach;
      const double keep = std::abs(u) < 1.0 ? (1.0 - u * u) * (1.0 - u * u) : 0.0;
      robust[i] = weights[i] * keep;
    }
    coefficients = SolveWeighted(rows, values, robust, columns);
    for (size_t i = 0; i < values.size(); ++i) {
      residuals[i] = values[i] - Predict(&rows[i * width], coefficients);
    }
  }
  return coefficients;
}

}  // namespace endgrade
