#include "locate/rim_profile.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade::locate {
namespace {

double Step(double x, double sigma) { return 0.5 * std::erfc(-x / sigma / std::sqrt(2.0)); }

// Exact values of a model, so that only the fit's own error is left.
template <typename Model>
RimProfile Sampled(Model model) {
  RimProfile profile;
  for (double x = -40.0; x <= 40.0; x += 0.5) {
    profile.distance.push_back(x);
    profile.level.push_back(model(x));
    profile.noise.push_back(0.3);
  }
  return profile;
}

// The project's aim for the diameter is 0.25 %: half a pixel at a radius of 200. A tenth of that.
constexpr double kCloseEnough = 0.05;

TEST(FitRimModel, FindsAPlainStep) {
  const auto model =
      FitRimModel(Sampled([](double x) { return 80.0 + 0.1 * x + 90.0 * Step(x - 1.37, 2.2); }));
  ASSERT_TRUE(model);
  EXPECT_NEAR(model->rim, 1.37, kCloseEnough);
  EXPECT_NEAR(model->sigma, 2.2, 0.05);
  EXPECT_NEAR(model->step, 90.0, 1.0);
  EXPECT_FALSE(model->ring);
}

TEST(FitRimModel, TakesTheInnerBorderOfADarkRing) {
  const auto model = FitRimModel(Sampled(
      [](double x) { return 110.0 - 80.0 * Step(x + 0.8, 1.5) + 120.0 * Step(x - 6.2, 1.5); }));
  ASSERT_TRUE(model);
  EXPECT_NEAR(model->rim, -0.8, kCloseEnough);
  ASSERT_TRUE(model->ring);
  EXPECT_NEAR(*model->ring, 7.0, 0.1);
  EXPECT_NEAR(model->step, 40.0, 1.0);
}

TEST(FitRimModel, TakesTheInnerBorderOfABrightRing) {
  const auto model = FitRimModel(Sampled(
      [](double x) { return 60.0 + 130.0 * Step(x - 0.4, 1.2) - 90.0 * Step(x - 5.4, 1.2); }));
  ASSERT_TRUE(model);
  EXPECT_NEAR(model->rim, 0.4, kCloseEnough);
}

// An unsharp mask adds a share of the difference to its own blur on both sides of the step, which
// stays where it was.
TEST(FitRimModel, SeesThroughASharpenedStep) {
  const auto model = FitRimModel(Sampled([](double x) {
    const double sharp = Step(x - 0.6, 1.5);
    return 150.0 - 60.0 * (sharp + 0.8 * (sharp - Step(x - 0.6, std::hypot(1.5, 2.0))));
  }));
  ASSERT_TRUE(model);
  EXPECT_NEAR(model->rim, 0.6, kCloseEnough);
  EXPECT_FALSE(model->ring);
}

// Blur happens in light, storage as light ^ (1 / 2.2): the step's half-height, as stored, is off by
// a third of sigma, the model's rim is not.
TEST(FitRimModel, SeesThroughATone) {
  const auto model = FitRimModel(Sampled([](double x) {
    const double light = 0.06 + 0.6 * Step(x - 0.5, 2.0);
    return 255.0 * std::pow(light, 1.0 / 2.2);
  }));
  ASSERT_TRUE(model);
  EXPECT_NEAR(model->rim, 0.5, kCloseEnough);
}

TEST(FitRimModel, RefusesAProfileOfAFewValues) {
  RimProfile profile;
  for (int i = 0; i < 10; ++i) {
    profile.distance.push_back(i);
    profile.level.push_back(i < 5 ? 10 : 50);
    profile.noise.push_back(1);
  }
  EXPECT_FALSE(FitRimModel(profile));
}

}  // namespace
}  // namespace endgrade::locate
