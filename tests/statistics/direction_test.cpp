#include "statistics/direction.h"

#include <gtest/gtest.h>

namespace endgrade::statistics {
namespace {

// Zar, Biostatistical Analysis, examples 26.1 and 27.1 (4th edition, from memory): eight trees lean
// at these angles; mean 99 degrees, r = 0.82522, 0.001 < p < 0.002.
TEST(TestDirections, GivesZarsLeaningTrees) {
  const DirectionTest test = TestDirections({45, 55, 81, 96, 110, 117, 132, 154});
  EXPECT_NEAR(test.mean_deg, 99, 0.5);
  EXPECT_NEAR(test.resultant_length, 0.82522, 0.00005);
  EXPECT_GT(test.p_value, 0.001);
  EXPECT_LT(test.p_value, 0.002);
}

TEST(TestDirections, FindsNothingInEvenDirections) {
  const DirectionTest test = TestDirections({0, 90, 180, 270});
  EXPECT_NEAR(test.resultant_length, 0, 1e-12);
  EXPECT_GT(test.p_value, 0.9);
}

TEST(TestDirections, OfNothingSayNothing) { EXPECT_EQ(TestDirections({}).p_value, 1.0); }

}  // namespace
}  // namespace endgrade::statistics
