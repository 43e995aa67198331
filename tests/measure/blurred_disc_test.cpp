#include "measure/blurred_disc.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade {
namespace {

TEST(BlurredDisc, HasItsClosedFormAtTheCentre) {
  for (const double radius : {0.2, 1.0, 3.0}) {
    EXPECT_NEAR(BlurredDisc(0.0, radius, 1.0), 1.0 - std::exp(-0.5 * radius * radius), 2e-4);
  }
}

TEST(BlurredDisc, IsALittleUnderHalfAtTheEdgeOfAWideDisc) {
  // A straight edge gives one half; to first order a disc's curvature takes
  // sigma / (2 sqrt(2 pi) radius) off (derived).
  EXPECT_NEAR(BlurredDisc(6.0, 6.0, 1.0), 0.5 - 1.0 / (2.0 * std::sqrt(2.0 * M_PI) * 6.0), 0.003);
}

TEST(BlurredDisc, KeepsItsAreaUnderTheBlur) {
  double volume = 0;
  for (double r = 0.01; r < 12; r += 0.02) volume += 2 * M_PI * r * BlurredDisc(r, 2.0, 1.0) * 0.02;
  EXPECT_NEAR(volume, M_PI * 4.0, 0.02);
}

TEST(DiscBehindBlur, UndoesTheBlur) {
  for (const double diameter : {1.0, 2.0, 4.0, 8.0}) {
    const double half = 0.5 * BlurredDiscPeak(0.5 * diameter, 0.8);
    double low = 0, high = 20;
    for (int i = 0; i < 60; ++i) {
      const double middle = 0.5 * (low + high);
      (BlurredDisc(middle, 0.5 * diameter, 0.8) > half ? low : high) = middle;
    }
    EXPECT_NEAR(DiscBehindBlur(2 * low, 0.8).diameter, diameter, 0.06) << diameter;
  }
}

TEST(DiscBehindBlur, SaysNothingOfADiscNoWiderThanTheBlur) {
  // 2 sqrt(2 ln 2) sigma is the width of the blur itself.
  EXPECT_EQ(DiscBehindBlur(2.354, 1.0).diameter, 0.0);
  EXPECT_GT(DiscBehindBlur(2.354, 1.0).sensitivity, 3.0);
}

}  // namespace
}  // namespace endgrade
