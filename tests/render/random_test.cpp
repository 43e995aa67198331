#include "render/random.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade::render {
namespace {

// SplitMix64's first outputs for seed 1234567: the reference sequence of its public description.
TEST(Random, BitsAreThoseOfSplitMix64) {
  Random random(1234567);
  EXPECT_EQ(random.Bits(), 6457827717110365317ULL);
  EXPECT_EQ(random.Bits(), 3203168211198807973ULL);
  EXPECT_EQ(random.Bits(), 9817491932198370423ULL);
}

// Of a standard normal: moments 0, 1, 0, 3; tails from tables of the normal distribution. Bounds
// are five standard errors of a million draws.
TEST(Random, NormalHasTheMomentsAndTailsOfAStandardNormal) {
  constexpr int kDraws = 1000000;
  Random random(5);
  double sum1 = 0;
  double sum2 = 0;
  double sum3 = 0;
  double sum4 = 0;
  int beyond_2 = 0;
  int beyond_tail = 0;  // past the ziggurat's last layer at 3.4426
  for (int i = 0; i < kDraws; ++i) {
    const double x = random.Normal();
    sum1 += x;
    sum2 += x * x;
    sum3 += x * x * x;
    sum4 += x * x * x * x;
    beyond_2 += std::abs(x) > 2 ? 1 : 0;
    beyond_tail += std::abs(x) > 3.442619855899 ? 1 : 0;
  }
  const double root = std::sqrt(kDraws);
  EXPECT_NEAR(sum1 / kDraws, 0, 5 / root);
  EXPECT_NEAR(sum2 / kDraws, 1, 5 * std::sqrt(2.0) / root);
  EXPECT_NEAR(sum3 / kDraws, 0, 5 * std::sqrt(15.0) / root);
  EXPECT_NEAR(sum4 / kDraws, 3, 5 * std::sqrt(96.0) / root);
  const double p2 = std::erfc(2 / std::sqrt(2.0));
  const double p_tail = std::erfc(3.442619855899 / std::sqrt(2.0));
  EXPECT_NEAR(beyond_2, p2 * kDraws, 5 * std::sqrt(p2 * kDraws));
  EXPECT_NEAR(beyond_tail, p_tail * kDraws, 5 * std::sqrt(p_tail * kDraws));
}

TEST(Random, StreamsOfOneSeedDiffer) {
  EXPECT_NE(SubSeed(1, 1), SubSeed(1, 2));
  EXPECT_NE(SubSeed(1, 1), SubSeed(2, 1));
}

}  // namespace
}  // namespace endgrade::render
