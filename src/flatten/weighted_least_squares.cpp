#include "flatten/weighted_least_squares.h"

#include "core/wide.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <array>

namespace endgrade {
namespace {

// Rows are padded to whole fours, so that each takes a few vector operations.
constexpr std::size_t kMostFours = 3;
constexpr std::size_t kMostColumns = 4 * kMostFours;

// products[a] holds those of column a with columns 0 to a, and some beyond that are not told.
struct NormalEquations {
  std::array<std::array<double, kMostColumns>, kMostColumns> products{};
  std::array<double, kMostColumns> sums{};
};

// Some observations that count for anything.
template <std::size_t kFours>
struct Batch {
  static constexpr std::size_t kRoom = 64;
  std::array<const double*, kRoom> rows;
  std::array<std::array<double, 4 * kFours>, kRoom> weighted;  // rows
  std::array<double, kRoom> values;
  std::size_t count = 0;
};

// Products of the kFour-th four of columns with each of kColumns from its first on, and with the
// values. All sums stay in registers while the rows go by.
template <std::size_t kFour, std::size_t kColumns, std::size_t kFours>
[[gnu::always_inline]] inline void AddFour(const Batch<kFours>& batch, NormalEquations* equations) {
  constexpr std::size_t kFirst = 4 * kFour;
  constexpr std::size_t kCount = kColumns - kFirst;
  Four products[kCount];
  for (std::size_t a = 0; a < kCount; ++a) {
    products[a] = FourAt(&equations->products[kFirst + a][kFirst]).value;
  }
  Four sums = FourAt(&equations->sums[kFirst]).value;
  for (std::size_t i = 0; i < batch.count; ++i) {
    const Four here = FourAt(batch.rows[i] + kFirst).value;
    for (std::size_t a = 0; a < kCount; ++a) products[a] += batch.weighted[i][kFirst + a] * here;
    sums += FourAt(&batch.weighted[i][kFirst]).value * batch.values[i];
  }
  for (std::size_t a = 0; a < kCount; ++a) {
    FourAt(&equations->products[kFirst + a][kFirst]).value = products[a];
  }
  FourAt(&equations->sums[kFirst]).value = sums;
}

template <std::size_t kColumns>
[[gnu::always_inline]] inline void AddRows(const double* row,
                                           const double* values,
                                           const double* weights,
                                           std::size_t count,
                                           NormalEquations* equations) {
  constexpr std::size_t kFours = (kColumns + 3) / 4;
  Batch<kFours> batch;
  for (std::size_t i = 0; i < count;) {
    for (batch.count = 0; i < count && batch.count < batch.kRoom; ++i, row += 4 * kFours) {
      if (weights[i] <= 0.0) continue;
      batch.rows[batch.count] = row;
      for (std::size_t four = 0; four < 4 * kFours; four += 4) {
        FourAt(&batch.weighted[batch.count][four]).value = weights[i] * FourAt(row + four).value;
      }
      batch.values[batch.count++] = values[i];
    }
    AddFour<0, kColumns>(batch, equations);
    if constexpr (kFours > 1) AddFour<1, kColumns>(batch, equations);
    if constexpr (kFours > 2) AddFour<2, kColumns>(batch, equations);
  }
}

ENDGRADE_WIDE void AddFourColumns(const double* rows,
                                  const double* values,
                                  const double* weights,
                                  std::size_t count,
                                  NormalEquations* equations) {
  AddRows<4>(rows, values, weights, count, equations);
}

ENDGRADE_WIDE void AddSixColumns(const double* rows,
                                 const double* values,
                                 const double* weights,
                                 std::size_t count,
                                 NormalEquations* equations) {
  AddRows<6>(rows, values, weights, count, equations);
}

ENDGRADE_WIDE void AddEightColumns(const double* rows,
                                   const double* values,
                                   const double* weights,
                                   std::size_t count,
                                   NormalEquations* equations) {
  AddRows<8>(rows, values, weights, count, equations);
}

ENDGRADE_WIDE void AddElevenColumns(const double* rows,
                                    const double* values,
                                    const double* weights,
                                    std::size_t count,
                                    NormalEquations* equations) {
  AddRows<11>(rows, values, weights, count, equations);
}

ENDGRADE_WIDE void AddAllColumns(const double* rows,
                                 const double* values,
                                 const double* weights,
                                 std::size_t count,
                                 NormalEquations* equations) {
  AddRows<kMostColumns>(rows, values, weights, count, equations);
}

// For up to so many columns; those in use.
struct AddUpTo {
  std::size_t columns;
  decltype(&AddFourColumns) add;
};
constexpr std::array<AddUpTo, 5> kAddRows{{{4, AddFourColumns},
                                           {6, AddSixColumns},
                                           {8, AddEightColumns},
                                           {11, AddElevenColumns},
                                           {kMostColumns, AddAllColumns}}};

// values - columns x coefficients; columns one after the other.
ENDGRADE_WIDE void TakeOffFit(const double* columns,
                              const double* coefficients,
                              std::size_t width,
                              const double* values,
                              std::size_t count,
                              double* __restrict residuals) {
  std::fill_n(residuals, count, 0.0);
  for (std::size_t c = 0; c < width; ++c, columns += count) {
    const double times = coefficients[c];
    for (std::size_t i = 0; i < count; ++i) residuals[i] += columns[i] * times;
  }
  for (std::size_t i = 0; i < count; ++i) residuals[i] = values[i] - residuals[i];
}

}  // namespace

WeightedLeastSquares::WeightedLeastSquares(const std::vector<double>& rows,
                                           const std::vector<double>& values,
                                           int columns)
    : columns_(static_cast<std::size_t>(columns)),
      padded_((columns_ + 3) / 4 * 4),
      by_row_(values.size() * padded_, 0.0),
      by_column_(values.size() * columns_),
      values_(values) {
  CV_Assert(columns_ <= kMostColumns);
  const std::size_t count = values.size();
  for (std::size_t i = 0; i < count; ++i) {
    const double* row = rows.data() + i * columns_;
    for (std::size_t c = 0; c < columns_; ++c) {
      by_row_[i * padded_ + c] = row[c];
      by_column_[c * count + i] = row[c];
    }
  }
}

std::vector<double> WeightedLeastSquares::Solve(const std::vector<double>& weights) const {
  NormalEquations equations;
  const auto fitting = std::find_if(kAddRows.begin(), kAddRows.end(), [this](const AddUpTo& each) {
    return columns_ <= each.columns;
  });
  fitting->add(by_row_.data(), values_.data(), weights.data(), values_.size(), &equations);
  const auto size = static_cast<int>(columns_);
  cv::Mat normal(size, size, CV_64F);
  cv::Mat right(size, 1, CV_64F);
  for (int a = 0; a < size; ++a) {
    const auto& from = equations.products[static_cast<std::size_t>(a)];
    std::copy_n(from.begin(), columns_, normal.ptr<double>(a));
    right.at<double>(a) = equations.sums[static_cast<std::size_t>(a)];
  }
  cv::completeSymm(normal, true);
  cv::Mat solution;
  cv::solve(normal, right, solution, cv::DECOMP_SVD);
  return {solution.begin<double>(), solution.end<double>()};
}

void WeightedLeastSquares::Residuals(const std::vector<double>& coefficients,
                                     std::vector<double>* residuals) const {
  residuals->resize(values_.size());
  TakeOffFit(by_column_.data(),
             coefficients.data(),
             columns_,
             values_.data(),
             values_.size(),
             residuals->data());
}

}  // namespace endgrade
