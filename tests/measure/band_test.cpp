#include "measure/band.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade {
namespace {

constexpr double kBlur = 1.1;  // sigma, cells
constexpr double kBend = 0.002;

double Middle(double x) {
  const double off = x - 100.0;
  return 80.0 + kBend * off * off;
}

// A bent bar of `width` seen through a Gaussian: the difference of two of its integrals (erf).
ContrastMap MapWithBar(double width, double height) {
  ContrastMap map;
  map.um_per_cell = 0.7;
  map.blur_sigma_cells = kBlur;
  map.residual = cv::Mat(220, 200, CV_32FC1, cv::Scalar(0));
  const double side = 1.0 / (std::sqrt(2.0) * kBlur);
  for (int y = 0; y < map.residual.rows; ++y) {
    for (int x = 0; x < map.residual.cols; ++x) {
      const double slope = 2.0 * kBend * (x - 100.0);
      const double off = (y - Middle(x)) / std::hypot(1.0, slope);
      map.residual.at<float>(y, x) = static_cast<float>(
          0.5 * height *
          (std::erf((off + 0.5 * width) * side) - std::erf((off - 0.5 * width) * side)));
    }
  }
  return map;
}

// Its border as a coarse search sees it, smoothed to `seen` cells across.
Region RegionOver(double seen, double depth) {
  Region region;
  region.depth = depth;
  region.smoothing_cells = 4.5;
  for (int x = 40; x <= 160; ++x) {
    for (const double side : {-0.5, 0.5}) {
      region.edge.emplace_back(static_cast<float>(x), static_cast<float>(Middle(x) + side * seen));
    }
  }
  return region;
}

TEST(MeasureBand, WidthOfABentBarWhateverItWasFoundWith) {
  for (const double width : {3.0, 6.0, 10.0}) {
    for (const double seen : {width + 1.0, width + 6.0}) {
      const auto band = MeasureBand(MapWithBar(width, -30.0), RegionOver(seen, -30.0));
      ASSERT_TRUE(band.has_value()) << width;
      EXPECT_NEAR(band->width_cells, width, 0.25) << width << " seen as " << seen;
    }
  }
}

TEST(MeasureBand, OfTheOtherSignItIsAnotherThing) {
  EXPECT_FALSE(MeasureBand(MapWithBar(6.0, -30.0), RegionOver(8.0, 30.0)).has_value());
}

TEST(MeasureBand, TooFewPointsHaveNoMiddle) {
  Region region;
  region.depth = -1;
  EXPECT_TRUE(MiddleLineOf(region.edge).empty());
  EXPECT_FALSE(MeasureBand(MapWithBar(6.0, -30.0), region).has_value());
}

TEST(MeasureBand, TheMiddleLineRunsFromEndToEnd) {
  const auto middle = MiddleLineOf(RegionOver(6.0, -30.0).edge);
  ASSERT_GT(middle.size(), 50U);
  EXPECT_NEAR(std::abs(middle.back().x - middle.front().x), 120.0, 3.0);
  for (const cv::Point2d& p : middle) EXPECT_NEAR(p.y, Middle(p.x), 0.5);
}

}  // namespace
}  // namespace endgrade
