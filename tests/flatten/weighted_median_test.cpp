#include "flatten/weighted_median.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <utility>
#include <vector>

namespace endgrade {
namespace {

// The slow, obvious version: sort, then add up.
double BySorting(const std::vector<double>& values, const std::vector<double>& weights) {
  std::vector<std::pair<double, double>> all;
  double total = 0;
  for (size_t i = 0; i < values.size(); ++i) {
    all.emplace_back(values[i], weights[i]);
    total += weights[i];
  }
  std::sort(all.begin(), all.end());
  double sum = 0;
  for (const auto& [value, weight] : all) {
    sum += weight;
    if (sum >= 0.5 * total) return value;
  }
  return all.back().first;
}

TEST(WeightedMedian, FindsWhatSortingFinds) {
  std::mt19937 random(21);
  std::cauchy_distribution<double> wild(5.0, 2.0);
  std::uniform_real_distribution<double> weight(0.1, 3.0);
  for (const size_t count : {1U, 2U, 63U, 64U, 500U, 3000U}) {
    std::vector<double> weights(count);
    for (double& each : weights) each = weight(random);
    WeightedMedian median(weights);
    for (int round = 0; round < 5; ++round) {
      std::vector<double> values(count);
      for (double& value : values) value = wild(random);
      ASSERT_EQ(median.Of(values), BySorting(values, weights)) << count << " values";
    }
  }
}

TEST(WeightedMedian, BearsValuesThatAreAllAlike) {
  const std::vector<double> weights(1000, 2.0);
  WeightedMedian median(weights);
  EXPECT_EQ(median.Of(std::vector<double>(1000, 7.0)), 7.0);
}

TEST(WeightedMedian, IsNothingOfNothing) {
  const std::vector<double> none;
  EXPECT_EQ(WeightedMedian(none).Of(none), 0.0);
}

}  // namespace
}  // namespace endgrade
