#include "statistics/interval.h"

#include <gtest/gtest.h>

namespace endgrade::statistics {
namespace {

struct Published {
  int count, trials;
  double wilson_low, wilson_high, exact_low, exact_high;
};

// Newcombe, Statistics in Medicine 17 (1998) 857, table I, methods 3 and 5 (from memory); the same
// as SciPy 1.10.1: scipy.stats.binomtest(count, trials).proportion_ci(0.95, "wilson" | "exact").
constexpr Published kNewcombe[] = {
    {81, 263, 0.2553, 0.3662, 0.2527, 0.3676},
    {15, 148, 0.0624, 0.1605, 0.0578, 0.1617},
    {0, 20, 0.0000, 0.1611, 0.0000, 0.1684},
    {1, 29, 0.0061, 0.1718, 0.0009, 0.1776},
};
constexpr double kPrinted = 0.00005;  // four decimals are published

TEST(WilsonInterval, GivesNewcombesFigures) {
  for (const Published& row : kNewcombe) {
    const Interval interval = WilsonInterval(row.count, row.trials);
    EXPECT_NEAR(interval.low, row.wilson_low, kPrinted) << row.count << " of " << row.trials;
    EXPECT_NEAR(interval.high, row.wilson_high, kPrinted) << row.count << " of " << row.trials;
  }
}

TEST(ClopperPearsonInterval, GivesNewcombesFigures) {
  for (const Published& row : kNewcombe) {
    const Interval interval = ClopperPearsonInterval(row.count, row.trials);
    EXPECT_NEAR(interval.low, row.exact_low, kPrinted) << row.count << " of " << row.trials;
    EXPECT_NEAR(interval.high, row.exact_high, kPrinted) << row.count << " of " << row.trials;
  }
}

// SciPy 1.10.1: scipy.stats.binomtest(3, 50).proportion_ci(0.99, "wilson" | "exact").
TEST(Intervals, TakeAnyConfidence) {
  EXPECT_NEAR(WilsonInterval(3, 50, 0.99).low, 0.015294840009215757, 1e-12);
  EXPECT_NEAR(WilsonInterval(3, 50, 0.99).high, 0.2077990007022969, 1e-12);
  EXPECT_NEAR(ClopperPearsonInterval(3, 50, 0.99).low, 0.006872485332949589, 1e-9);
  EXPECT_NEAR(ClopperPearsonInterval(3, 50, 0.99).high, 0.20270626946868844, 1e-9);
}

TEST(Intervals, OfAllEndAtOneAndOfNoneStartAtZero) {
  EXPECT_EQ(WilsonInterval(29, 29).high, 1.0);
  EXPECT_NEAR(WilsonInterval(29, 29).low, 0.8830302015, 1e-9);  // SciPy 1.10.1
  EXPECT_EQ(ClopperPearsonInterval(29, 29).high, 1.0);
  EXPECT_EQ(ClopperPearsonInterval(0, 20).low, 0.0);
}

TEST(Intervals, OfNothingSayNothing) {
  EXPECT_EQ(WilsonInterval(0, 0).low, 0.0);
  EXPECT_EQ(WilsonInterval(0, 0).high, 1.0);
  EXPECT_EQ(ClopperPearsonInterval(0, 0).low, 0.0);
  EXPECT_EQ(ClopperPearsonInterval(0, 0).high, 1.0);
}

}  // namespace
}  // namespace endgrade::statistics
