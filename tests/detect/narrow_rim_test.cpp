#include "detect/narrow_rim.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade {
namespace {

struct Drawn {
  cv::Mat height = cv::Mat::zeros(41, 41, CV_32FC1);
  cv::Mat distance = cv::Mat::zeros(41, 41, CV_32FC1);
};

// A disc of radius 6 and height 60, and around it a rim from there to `rim_to`, this deep.
Drawn DrawDisc(double rim_to, double rim_depth) {
  Drawn drawn;
  for (int y = 0; y < 41; ++y) {
    for (int x = 0; x < 41; ++x) {
      const double away = std::hypot(x - 20, y - 20) - 6.0;
      drawn.distance.at<float>(y, x) = static_cast<float>(away);
      const double height = away <= 0 ? 60.0 : away <= rim_to ? -rim_depth : 0.0;
      drawn.height.at<float>(y, x) = static_cast<float>(height);
    }
  }
  return drawn;
}

TEST(NarrowRim, EndsWhereTheRimEnds) {
  for (const double width : {1.5, 2.0, 3.0}) {
    const Drawn drawn = DrawDisc(width, 15.0);
    const auto outer = FindNarrowRim({drawn.height, drawn.distance, {}, 1.0, 1.5, 0.1});
    ASSERT_TRUE(outer) << width;
    EXPECT_NEAR(*outer, width, 0.5) << width;
  }
}

TEST(NarrowRim, IsNotMadeOfWhatSharpeningLeaves) {
  const Drawn drawn = DrawDisc(2.0, 5.0);
  EXPECT_FALSE(FindNarrowRim({drawn.height, drawn.distance, {}, 1.0, 1.5, 0.2}));
  EXPECT_TRUE(FindNarrowRim({drawn.height, drawn.distance, {}, 1.0, 1.5, 0.05}));
}

TEST(NarrowRim, IsNotMadeOfNoise) {
  const Drawn drawn = DrawDisc(2.0, 5.0);
  EXPECT_FALSE(FindNarrowRim({drawn.height, drawn.distance, {}, 12.0, 1.5, 0.05}));
}

TEST(NarrowRim, HasAnEnd) {
  const Drawn drawn = DrawDisc(30.0, 15.0);  // a hollow of something larger
  EXPECT_FALSE(FindNarrowRim({drawn.height, drawn.distance, {}, 1.0, 1.5, 0.1}));
}

TEST(NarrowRim, IsLookedForOnlyWhereAsked) {
  const Drawn drawn = DrawDisc(2.0, 15.0);
  const cv::Mat nowhere = cv::Mat::zeros(drawn.height.size(), CV_8UC1);
  EXPECT_FALSE(FindNarrowRim({drawn.height, drawn.distance, nowhere, 1.0, 1.5, 0.1}));
}

}  // namespace
}  // namespace endgrade
