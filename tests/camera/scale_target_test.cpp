#include "endgrade/camera.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <cmath>

namespace endgrade {
namespace {

using ::testing::HasSubstr;

constexpr double kPitchUm = 10;

// A target as its definition has it: each pixel is the mean of 4 x 4 places; then blur, light and
// noise. Axes: u along the lines' normal, v across it, in micrometres.
struct DrawnTarget {
  cv::Size size{900, 700};
  double um_per_px_x = 0.41;
  double um_per_px_y = 0.41;
  double turn_deg = 0;
  double duty = 0.5;
  bool grid = false;
  double blur_px = 0.8;
  double noise = 3;
  double light = 0;  // lost in the corner
  double bend = 0;   // um: how far the middle of the view is from where an even pitch has it
  std::uint64_t seed = 1;
};

Frame Draw(const DrawnTarget& t) {
  cv::Mat picture(t.size, CV_32FC1);
  const double turn = t.turn_deg * CV_PI / 180;
  const auto line = [&](double um) { return um / kPitchUm - std::floor(um / kPitchUm) < t.duty; };
  for (int y = 0; y < t.size.height; ++y) {
    for (int x = 0; x < t.size.width; ++x) {
      double sum = 0;
      for (int k = 0; k < 16; ++k) {
        const double px = x + (k % 4 - 1.5) / 4 - 0.5 * t.size.width;
        const double py = y + (k / 4 - 1.5) / 4 - 0.5 * t.size.height;
        const double x_um = px * t.um_per_px_x;
        const double y_um = py * t.um_per_px_y;
        const double far = px / t.size.width;
        const double u = x_um * std::cos(turn) + y_um * std::sin(turn) + t.bend * 4 * far * far;
        const double v = -x_um * std::sin(turn) + y_um * std::cos(turn);
        sum += line(u) || (t.grid && line(v)) ? 60 : 180;
      }
      const double r = std::hypot(x - 0.5 * t.size.width, y - 0.5 * t.size.height) / t.size.width;
      picture.at<float>(y, x) = static_cast<float>(sum / 16 * (1 - t.light * 2 * r * r));
    }
  }
  if (t.blur_px > 0) cv::GaussianBlur(picture, picture, cv::Size(), t.blur_px);
  cv::Mat noise(t.size, CV_32FC1);
  cv::RNG rng(t.seed);
  rng.fill(noise, cv::RNG::NORMAL, 0, t.noise);
  picture += noise;
  Frame frame;
  picture.convertTo(frame.luma, CV_8U);
  frame.path = "target.png";
  return frame;
}

// Knows its pitch exactly: what is left is the fit's own.
ScaleTarget Measured(const Frame& frame, double pitch_uncertainty = 0) {
  TargetOptions options;
  options.pitch_um = kPitchUm;
  options.pitch_relative_uncertainty = pitch_uncertainty;
  const auto target = MeasureTarget(frame, options);
  if (!target.ok()) ADD_FAILURE() << target.error().Text();
  return target.ok() ? *target : ScaleTarget{};
}

// A tenth of a plain stage micrometer's own uncertainty of 0.2 %: the fit must not count beside it.
constexpr double kRelative = 2e-4;

TEST(MeasureTarget, TellsTheScaleAtAnyTurn) {
  for (const double turn : {0.0, 0.3, 7.0, 30.0, 45.0, 89.0, 90.0, 130.0}) {
    DrawnTarget drawn;
    drawn.turn_deg = turn;
    const ScaleTarget target = Measured(Draw(drawn));
    EXPECT_NEAR(target.um_per_px.value / 0.41, 1.0, kRelative) << turn;
    EXPECT_FALSE(target.both_axes);
    // The normal's direction has no sign: 130 and -50 degrees are one.
    EXPECT_NEAR(std::abs(std::cos((target.normal_deg - turn) * CV_PI / 180)), 1.0, 1e-6) << turn;
  }
}

TEST(MeasureTarget, TellsTheScaleOfFineAndCoarseLines) {
  for (const double um_per_px : {0.1, 0.25, 0.8, 1.6, 2.5}) {
    DrawnTarget drawn;
    drawn.um_per_px_x = drawn.um_per_px_y = um_per_px;
    drawn.turn_deg = 12;
    drawn.seed = 5;
    const ScaleTarget target = Measured(Draw(drawn));
    EXPECT_NEAR(target.um_per_px.value / um_per_px, 1.0, kRelative) << um_per_px;
  }
}

TEST(MeasureTarget, ThinLinesCountOnceEach) {
  for (const double duty : {0.1, 0.2, 0.3, 0.7, 0.9}) {
    DrawnTarget drawn;
    drawn.duty = duty;
    drawn.turn_deg = 3;
    EXPECT_NEAR(Measured(Draw(drawn)).um_per_px.value / 0.41, 1.0, kRelative) << duty;
  }
}

TEST(MeasureTarget, AGridTellsBothAxes) {
  for (const double turn : {0.0, 5.0, 20.0, 44.0}) {
    DrawnTarget drawn;
    drawn.grid = true;
    drawn.duty = 0.25;
    drawn.turn_deg = turn;
    drawn.um_per_px_y = 0.41 * 1.03;
    const ScaleTarget target = Measured(Draw(drawn));
    ASSERT_TRUE(target.both_axes) << turn;
    EXPECT_NEAR(target.pixel_aspect.value, 1.03, 1.03 * kRelative) << turn;
    EXPECT_NEAR(target.um_per_px.value / (0.41 * std::sqrt(1.03)), 1.0, kRelative) << turn;
  }
}

// With noise as strong as the lines are high, the stated uncertainty must hold the truth about as
// often as it claims: 95 % of 40 is 38; fewer than 34 would be a chance of under 2 % (binomial).
TEST(MeasureTarget, StatedUncertaintyHoldsTheTruth) {
  int held = 0;
  for (int i = 0; i < 40; ++i) {
    DrawnTarget drawn;
    drawn.size = {480, 400};
    drawn.noise = 60;
    drawn.turn_deg = 4.5 * i;
    drawn.um_per_px_x = drawn.um_per_px_y = 0.35 + 0.01 * i;
    drawn.seed = 100 + static_cast<std::uint64_t>(i);
    const ScaleTarget target = Measured(Draw(drawn));
    held += std::abs(target.um_per_px.value - drawn.um_per_px_x) <= target.um_per_px.uncertainty;
  }
  EXPECT_GE(held, 34);
}

TEST(MeasureTarget, PitchUncertaintyIsPartOfTheScales) {
  const ScaleTarget target = Measured(Draw(DrawnTarget{}), 0.004);
  EXPECT_GE(target.um_per_px.uncertainty / target.um_per_px.value, 0.004);
  EXPECT_LT(target.um_per_px.uncertainty / target.um_per_px.value, 0.0041);
}

TEST(MeasureTarget, UnevenLightChangesNothing) {
  DrawnTarget drawn;
  drawn.light = 0.7;
  drawn.turn_deg = 2;
  EXPECT_NEAR(Measured(Draw(drawn)).um_per_px.value / 0.41, 1.0, kRelative);
}

TEST(MeasureTarget, LinesThatAreNotEvenAreRefused) {
  DrawnTarget drawn;
  drawn.bend = 9;  // nearly a whole pitch
  const auto target = MeasureTarget(Draw(drawn), {});
  ASSERT_FALSE(target.ok());
  EXPECT_THAT(target.error().Text(), HasSubstr("not evenly spaced"));
}

TEST(MeasureTarget, WhatShowsNoLinesIsRefused) {
  Frame noise;
  noise.path = "noise.png";
  noise.luma = cv::Mat(400, 500, CV_8UC1);
  cv::RNG rng(3);
  rng.fill(noise.luma, cv::RNG::NORMAL, 120, 20);
  Frame flat;
  flat.path = "flat.png";
  flat.luma = cv::Mat(400, 500, CV_8UC1, cv::Scalar(100));
  Frame disc;
  disc.path = "disc.png";
  disc.luma = cv::Mat(400, 500, CV_8UC1, cv::Scalar(100));
  cv::circle(disc.luma, {250, 200}, 120, cv::Scalar(180), -1);
  DrawnTarget few;
  few.um_per_px_x = few.um_per_px_y = 0.03;  // two lines in view
  for (const Frame& frame : {noise, flat, disc, Draw(few)}) {
    const auto target = MeasureTarget(frame, {});
    ASSERT_FALSE(target.ok()) << frame.path;
    EXPECT_THAT(target.error().Text(), HasSubstr(frame.path.string()));
  }
}

TEST(MeasureTarget, OptionsOutOfRangeAreNamed) {
  TargetOptions options;
  options.pitch_um = 0;
  const auto target = MeasureTarget(Frame{}, options);
  ASSERT_FALSE(target.ok());
  EXPECT_THAT(target.error().Text(), HasSubstr("TargetOptions.pitch_um"));
}

}  // namespace
}  // namespace endgrade
