#include "locate/core_centre.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kUm = 0.5;
constexpr double kHalfUm = 41.0;

// A lit graded-index core on glass: its light falls as the square of the distance (IEC 60793-2-10
// speaks of the index; that the light does, too, is from memory).
FacePatch GradedCore(cv::Point2d centre, double radius_um, double height) {
  FacePatch patch{{}, kUm, kHalfUm};
  const int side = 2 * static_cast<int>(kHalfUm / kUm) + 1;
  patch.level = cv::Mat(side, side, CV_32FC1);
  for (int y = 0; y < side; ++y) {
    for (int x = 0; x < side; ++x) {
      const double r = std::hypot(x * kUm - kHalfUm - centre.x, y * kUm - kHalfUm - centre.y);
      const double light = std::max(0.0, 1.0 - r * r / (radius_um * radius_um));
      patch.level.at<float>(y, x) = static_cast<float>(std::min(255.0, 110.0 + height * light));
    }
  }
  return patch;
}

TEST(CoreCentre, IsFoundFromAWayOff) {
  const cv::Point2d truth(1.2, -0.7);
  for (const double radius_um : {25.0, 31.25}) {
    for (const double height : {40.0, 100.0, 300.0}) {  // the last one burns out
      const auto found = CentreByBorder(GradedCore(truth, radius_um, height), {0.3, 0.4}, 24.0);
      ASSERT_TRUE(found);
      EXPECT_NEAR(found->x, truth.x, 0.05) << radius_um << ' ' << height;
      EXPECT_NEAR(found->y, truth.y, 0.05) << radius_um << ' ' << height;
    }
  }
}

TEST(CoreCentre, IsNotMovedByAMarkOnItsBorder) {
  const cv::Point2d truth(-0.8, 0.5);
  FacePatch patch = GradedCore(truth, 25.0, 90.0);
  patch.level(cv::Rect(95, 60, 30, 20)).setTo(20.0F);
  const auto found = CentreByBorder(patch, {0, 0}, 22.0);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->x, truth.x, 0.15);
  EXPECT_NEAR(found->y, truth.y, 0.15);
}

// Light that changes by a tenth over the core moves the place of half height.
TEST(CoreCentre, IsNotMovedByASlopeOfTheLight) {
  const cv::Point2d truth(0.6, -0.4);
  FacePatch patch = GradedCore(truth, 31.25, 40.0);
  for (int y = 0; y < patch.level.rows; ++y) {
    for (int x = 0; x < patch.level.cols; ++x) {
      patch.level.at<float>(y, x) *= static_cast<float>(1.0 + 0.0015 * (x * kUm - kHalfUm));
    }
  }
  const FacePatch even = WithEvenLight(patch, {0, 0}, 29.0);
  const auto found = CentreByBorder(even, {0, 0}, 29.0);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->x, truth.x, 0.1);
  EXPECT_NEAR(found->y, truth.y, 0.1);
  EXPECT_LT(UnlikenessAround(even, truth, 25.0), UnlikenessAround(even, {0.0, 0.5}, 25.0));
}

// A drawn circle, and lines that cross, have the same inside and outside.
TEST(CoreCentre, TellsADiscFromWhatIsDrawn) {
  EXPECT_TRUE(IsDisc(GradedCore({0, 0}, 25.0, 30.0), {0, 0}, 20.0, 2.0));
  FacePatch patch = GradedCore({0, 0}, 25.0, 0.0);
  const cv::Point middle(patch.level.cols / 2, patch.level.rows / 2);
  cv::circle(patch.level, middle, 40, cv::Scalar(250), 2);
  cv::line(patch.level, {0, middle.y}, {patch.level.cols, middle.y}, cv::Scalar(250), 2);
  EXPECT_FALSE(IsDisc(patch, {0, 0}, 20.0, 2.0));
}

TEST(CoreCentre, IsNotToldWhereThereIsNoBorder) {
  FacePatch patch = GradedCore({0, 0}, 25.0, 0.0);
  EXPECT_FALSE(CentreByBorder(patch, {0, 0}, 22.0));
}

}  // namespace
}  // namespace endgrade::locate
