#include "core/elementary.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace endgrade {
namespace {

// The C library's functions in double precision are what these stand for.
constexpr double kRelative = 2e-7;
// The handbook's formula is good to 7.5e-8; single precision adds two roundings of a number near 1.
constexpr double kOfOne = 3e-7;

TEST(ExpOf, AgreesWithTheCLibrary) {
  for (double x = -86.9; x < 87.9; x += 0.00731) {
    const auto at = static_cast<float>(x);
    const double expected = std::exp(static_cast<double>(at));
    ASSERT_NEAR(static_cast<double>(ExpOf(at)), expected, kRelative * expected) << "x = " << at;
  }
  EXPECT_EQ(ExpOf(0.0F), 1.0F);
}

TEST(LogOf, AgreesWithTheCLibrary) {
  for (double power = -80.0; power < 80.0; power += 0.00371) {
    const auto at = static_cast<float>(std::exp(power));
    const double expected = std::log(static_cast<double>(at));
    const double tolerance = kRelative * std::max(1.0, std::abs(expected));
    ASSERT_NEAR(static_cast<double>(LogOf(at)), expected, tolerance) << "x = " << at;
  }
  EXPECT_EQ(LogOf(1.0F), 0.0F);
}

TEST(NormalOf, AgreesWithTheCLibrarysErrorFunction) {
  for (double z = -15.0; z < 15.0; z += 0.00173) {
    const auto at = static_cast<float>(z);
    const auto exact = static_cast<double>(at);
    const double density = std::exp(-0.5 * exact * exact) / std::sqrt(2.0 * std::numbers::pi);
    const double below = 0.5 * std::erfc(-exact / std::numbers::sqrt2);
    const NormalAt found = NormalOf(at);
    ASSERT_NEAR(static_cast<double>(found.density), density, 4e-7 * 0.4) << "z = " << at;
    ASSERT_NEAR(static_cast<double>(found.below), below, kOfOne) << "z = " << at;
  }
}

// Handbook values: the share below 1.96 is 0.9750021, that below 3 is 0.9986501.
TEST(NormalOf, GivesTheTablesValues) {
  EXPECT_NEAR(static_cast<double>(NormalOf(1.96F).below), 0.9750021, 3e-7);
  EXPECT_NEAR(static_cast<double>(NormalOf(3.0F).below), 0.9986501, 3e-7);
  EXPECT_NEAR(static_cast<double>(NormalOf(-3.0F).below), 0.0013499, 3e-7);
}

}  // namespace
}  // namespace endgrade
