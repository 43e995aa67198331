#include "core/order_statistics.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace endgrade {
namespace {

// The slow, obvious version: sort, then look.
void ExpectRanksOfSorted(const std::vector<float>& values) {
  std::vector<float> sorted = values;
  std::sort(sorted.begin(), sorted.end());
  OrderStatistics ranked(values);
  for (std::size_t rank = 0; rank < values.size(); rank += std::max<std::size_t>(1, rank / 3)) {
    ASSERT_EQ(ranked.At(rank), sorted[rank]) << "rank " << rank << " of " << values.size();
  }
  ASSERT_EQ(ranked.At(values.size() - 1), sorted.back());
}

TEST(OrderStatistics, FindsWhatSortingFinds) {
  std::mt19937 random(11);
  std::normal_distribution<float> noise(3.0F, 20.0F);
  for (const std::size_t count : {1U, 2U, 7U, 32U, 33U, 200U, 201U, 1024U, 1025U, 40001U}) {
    std::vector<float> values(count);
    for (float& value : values) value = noise(random);
    ExpectRanksOfSorted(values);
  }
}

TEST(OrderStatistics, BearsValuesFarOutsideTheProbedRange) {
  std::mt19937 random(12);
  std::cauchy_distribution<float> wild(0.0F, 1.0F);
  std::vector<float> values(5000);
  for (float& value : values) value = wild(random);
  values[17] = 3e38F;
  values[18] = -3e38F;
  ExpectRanksOfSorted(values);
}

TEST(OrderStatistics, BearsManyEqualValues) {
  ExpectRanksOfSorted(std::vector<float>(3000, -1.5F));
  std::vector<float> flat(3000, 0.0F);
  flat[1700] = 1.0F;  // no probe falls on it
  flat[1701] = -1.0F;
  ExpectRanksOfSorted(flat);
}

}  // namespace
}  // namespace endgrade
