// Weighted medians, without sorting.
#pragma once

#include <array>
#include <cstddef>
#include <utility>
#include <vector>

namespace endgrade {

// Of as many values as there are weights, again and again. Values are dealt into buckets by size;
// only the one that holds the median is sorted. The weights must outlive it.
class WeightedMedian {
 public:
  explicit WeightedMedian(const std::vector<double>& weights);

  // The least value at which the weights, in ascending order of the values, come to half of all; 0
  // of none.
  [[nodiscard]] double Of(const std::vector<double>& values);

 private:
  static constexpr int kBuckets = 256;
  using Weighted = std::pair<double, double>;  // value, weight

  void DealOut(const std::vector<double>& values);
  [[nodiscard]] double Rank(double below);

  const std::vector<double>& weights_;
  double half_ = 0.0;
  std::vector<int> bucket_;  // of every value
  std::array<double, kBuckets> weight_{};
  std::vector<Weighted> members_;  // of the bucket looked into
};

}  // namespace endgrade
