#include "sight/strips.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kSide = 61;
constexpr int kMiddle = kSide / 2;

struct Maps {
  cv::Mat level;
  cv::Mat told;
};

// Noise between two radii, and a step across it.
Maps Ring(double from, double to, double step) {
  Maps maps{cv::Mat(kSide, kSide, CV_32FC1), cv::Mat::zeros(kSide, kSide, CV_32FC1)};
  cv::RNG rng(3);
  rng.fill(maps.level, cv::RNG::NORMAL, 0.0, 1.0);
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      const double radius = std::hypot(x - kMiddle, y - kMiddle);
      if (radius >= from && radius <= to) maps.told.at<float>(y, x) = 1.0F;
      if (x + 2 * y > 3 * kMiddle) maps.level.at<float>(y, x) += static_cast<float>(step);
    }
  }
  maps.level = maps.level.mul(maps.told);
  return maps;
}

double GreatestOf(const cv::Mat& level, const cv::Mat& told) {
  cv::Mat sum;
  cv::Mat share;
  const cv::Size strip(kStripWide, kStripLong);
  cv::boxFilter(level, sum, CV_32F, strip, {-1, -1}, false, cv::BORDER_CONSTANT);
  cv::boxFilter(told, share, CV_32F, strip, {-1, -1}, false, cv::BORDER_CONSTANT);
  double greatest = 0;
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x + 5 < kSide; ++x) {
      const float left = share.at<float>(y, x);
      const float right = share.at<float>(y, x + 5);
      if (std::min(left, right) < 0.75F * static_cast<float>(kStripCells)) continue;
      const float step = sum.at<float>(y, x) / left - sum.at<float>(y, x + 5) / right;
      greatest = std::max(greatest, static_cast<double>(std::abs(step)));
    }
  }
  return greatest;
}

// The slow, obvious version: each map turned and summed as a whole by OpenCV.
double StepByOpenCv(const Maps& maps) {
  double greatest = 0;
  const auto middle = static_cast<float>(kMiddle);
  for (int direction = 0; direction < 6; ++direction) {
    const cv::Mat turn = cv::getRotationMatrix2D({middle, middle}, 15.0 * direction, 1.0);
    cv::Mat level;
    cv::Mat told;
    cv::warpAffine(maps.level, level, turn, maps.level.size());
    cv::warpAffine(maps.told, told, turn, maps.told.size());
    greatest = std::max({greatest, GreatestOf(level, told), GreatestOf(level.t(), told.t())});
  }
  return greatest;
}

TEST(GreatestStep, IsWhatTurningWholeMapsFinds) {
  for (const double from : {0.0, 6.0, 9.5}) {
    for (const double to : {22.0, 29.0, 50.0}) {
      const Maps maps = Ring(from, to, 2.0);
      EXPECT_NEAR(GreatestStep(maps.level, maps.told, from, to), StepByOpenCv(maps), 1e-5)
          << from << " to " << to;
    }
  }
}

TEST(GreatestStep, IsAboutTheStepThatIsThere) {
  const Maps maps = Ring(0.0, 28.0, 20.0);
  EXPECT_NEAR(GreatestStep(maps.level, maps.told, 0.0, 28.0), 20.0, 3.0);
}

TEST(GreatestStep, IsNoneWhereTooLittleIsTold) {
  const Maps maps = Ring(0.0, 5.0, 20.0);
  EXPECT_EQ(GreatestStep(maps.level, maps.told, 0.0, 5.0), 0.0);
}

}  // namespace
}  // namespace endgrade
