#include "statistics/control_chart.h"

#include <gtest/gtest.h>

namespace endgrade::statistics {
namespace {

// Montgomery, Introduction to Statistical Quality Control, the orange juice cans: 30 samples of 50,
// 347 nonconforming in all, mean 0.2313, limits 0.0524 and 0.4102 (from memory); samples 15 and 23,
// with 22 and 24, are out.
constexpr int kCans[] = {12, 15, 8, 10, 4,  7,  16, 9,  14, 10, 5,  6, 17, 12, 22,
                         8,  10, 5, 13, 11, 20, 18, 24, 15, 9,  12, 7, 13, 9,  6};

TEST(ChartOfShares, GivesTheTextbooksLimits) {
  std::vector<Subgroup> samples;
  for (const int count : kCans) samples.push_back({std::to_string(samples.size() + 1), count, 50});
  const ControlChart chart = ChartOfShares(samples);
  ASSERT_EQ(chart.points.size(), 30u);
  EXPECT_NEAR(chart.mean, 0.2313, 0.00005);
  EXPECT_NEAR(chart.points[0].low, 0.0524, 0.00005);
  EXPECT_NEAR(chart.points[0].high, 0.4102, 0.00005);
  std::vector<std::string> outside;
  for (const ControlPoint& point : chart.points) {
    if (point.outside) outside.push_back(point.name);
  }
  EXPECT_EQ(outside, (std::vector<std::string>{"15", "23"}));
  EXPECT_FALSE(chart.few);
}

TEST(ChartOfShares, WidensLimitsForSmallSubgroupsAndKeepsThemShares) {
  const ControlChart chart = ChartOfShares({{"a", 10, 100}, {"b", 1, 4}, {"none", 0, 0}});
  ASSERT_EQ(chart.points.size(), 2u);
  EXPECT_GT(chart.points[1].high, chart.points[0].high);
  EXPECT_EQ(chart.points[1].low, 0.0);
  EXPECT_TRUE(chart.few);
}

TEST(ChartOfShares, OfNothingHasNoPoints) { EXPECT_TRUE(ChartOfShares({}).points.empty()); }

}  // namespace
}  // namespace endgrade::statistics
