// Least squares with a few columns, the same observations with one set of weights after another.
#pragma once

#include <cstddef>
#include <vector>

namespace endgrade {

class WeightedLeastSquares {
 public:
  //   rows      N x columns, row after row; columns no more than 12
  //   values    N; must outlive it
  WeightedLeastSquares(const std::vector<double>& rows,
                       const std::vector<double>& values,
                       int columns);

  // The coefficients; an observation without weight costs next to nothing.
  [[nodiscard]] std::vector<double> Solve(const std::vector<double>& weights) const;

  // What is left of the values.
  void Residuals(const std::vector<double>& coefficients, std::vector<double>* residuals) const;

 private:
  std::size_t columns_;
  std::size_t padded_;
  std::vector<double> by_row_;     // N x padded_
  std::vector<double> by_column_;  // columns_ x N
  const std::vector<double>& values_;
};

}  // namespace endgrade
