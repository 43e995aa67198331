#include "flatten/banding.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>

#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr double kCellUm = 0.5;
constexpr double kNoise = 1.0;

// A face of even glass and ferrule, with a camera's noise.
ContrastMap NoisyFace() {
  ContrastMap map;
  constexpr int kSide = 300;
  map.residual = cv::Mat(kSide, kSide, CV_32FC1);
  cv::RNG rng(7);
  rng.fill(map.residual, cv::RNG::NORMAL, 0.0, kNoise);
  map.background = cv::Mat(kSide, kSide, CV_32FC1, cv::Scalar(100.0F));
  map.radius_um = cv::Mat(kSide, kSide, CV_32FC1);
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      map.radius_um.at<float>(y, x) =
          static_cast<float>(kCellUm * std::hypot(x - 0.5 * kSide, y - 0.5 * kSide));
    }
  }
  map.glass_level = 100;
  map.glass_noise = kNoise;
  map.centre_cell = {0.5 * kSide, 0.5 * kSide};
  map.um_from_cell = cv::Matx22d::eye() * kCellUm;
  map.outer_um = 125.0;
  return map;
}

std::vector<float> AddRows(double sigma, ContrastMap* map) {
  cv::RNG rng(11);
  std::vector<float> offsets;
  for (int y = 0; y < map->residual.rows; ++y) {
    offsets.push_back(static_cast<float>(rng.gaussian(sigma)));
    map->residual.row(y) += offsets.back();
  }
  return offsets;
}

double RowMean(const cv::Mat& residual, int y) { return cv::mean(residual.row(y))[0]; }

TEST(TakeOffBanding, TakesARowsOwnOffsetOff) {
  ContrastMap map = NoisyFace();
  const std::vector<float> offsets = AddRows(0.8, &map);
  ASSERT_TRUE(TakeOffBanding(&map));
  double before = 0;
  double after = 0;
  for (int y = 80; y < 220; ++y) {
    before +=
        static_cast<double>(offsets[static_cast<size_t>(y)] * offsets[static_cast<size_t>(y)]);
    after += RowMean(map.residual, y) * RowMean(map.residual, y);
  }
  EXPECT_LT(after, 0.25 * before);
}

// Rows of an amplifier that is turned up: 4 % of the glass. The lay of a polish may be as strong,
// and nearly along the rows, but then it is not the same on both sides of the fibre.
TEST(TakeOffBanding, TakesStrongRowsOffOnlyWhereBothSidesTellTheSame) {
  ContrastMap camera = NoisyFace();
  AddRows(4.0, &camera);
  EXPECT_TRUE(TakeOffBanding(&camera));
  double after = 0;
  for (int y = 80; y < 220; ++y) after += std::pow(RowMean(camera.residual, y), 2) / 140;
  EXPECT_LT(after, 0.25 * 4.0 * 4.0);

  ContrastMap polish = NoisyFace();
  cv::RNG rng(11);
  for (int y = 0; y < polish.residual.rows; ++y) {  // falls by six rows over the face
    const double depth = rng.gaussian(8.0);
    for (int x = 0; x < polish.residual.cols; ++x) {
      const int row = y + 6 * x / polish.residual.cols;
      if (row < polish.residual.rows)
        polish.residual.at<float>(row, x) += static_cast<float>(depth);
    }
  }
  EXPECT_FALSE(TakeOffBanding(&polish));
}

TEST(TakeOffBanding, LeavesEvenNoiseAlone) {
  ContrastMap map = NoisyFace();
  const cv::Mat before = map.residual.clone();
  EXPECT_FALSE(TakeOffBanding(&map));
  EXPECT_EQ(cv::norm(before, map.residual, cv::NORM_INF), 0.0);
}

// A scratch along a row is one row among many.
TEST(TakeOffBanding, LeavesAScratchAlongARow) {
  ContrastMap plain = NoisyFace();
  plain.residual(cv::Rect(60, 110, 180, 2)) -= 15.0F;
  EXPECT_FALSE(TakeOffBanding(&plain));
  ContrastMap banded = NoisyFace();
  AddRows(0.8, &banded);
  banded.residual(cv::Rect(60, 110, 180, 2)) -= 15.0F;
  ASSERT_TRUE(TakeOffBanding(&banded));
  EXPECT_LT(cv::mean(banded.residual(cv::Rect(60, 110, 180, 2)))[0], -11.0);
}

}  // namespace
}  // namespace endgrade
