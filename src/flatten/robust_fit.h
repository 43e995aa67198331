// Weighted least squares with a few columns, made robust by Tukey's biweight.
#pragma once

#include <vector>

namespace endgrade {

// One observation: `row` holds the values of the basis functions.
//
//   rows      N x columns, row after row
//   values    N
//   weights   N, how much each counts before robustness (area)
//   floor     least robust scale that residuals are judged by
//   returns   coefficients, `columns` of them; all zero when N < columns
//   tukey     what lies so many scales off has no weight; no more rounds are made once one has
//             moved nothing
//   method    iteratively reweighted least squares, Tukey's biweight with c = 4.685 (95 % efficient
//             for Gaussian residuals; Huber & Ronchetti, Robust Statistics, 2009, from memory)
[[nodiscard]] std::vector<double> FitRobust(const std::vector<double>& rows,
                                            const std::vector<double>& values,
                                            const std::vector<double>& weights,
                                            int columns,
                                            double floor,
                                            double tukey = 4.685);

}  // namespace endgrade
