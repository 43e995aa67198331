#include "sight/stands_out.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace endgrade {
namespace {

TEST(StandsOut, MarksWhatDiffersFromTheMedianAroundIt) {
  cv::RNG rng(5);
  for (const int side : {1, 7, 16, 61}) {
    cv::Mat values(side, side + 3, CV_32FC1);
    rng.fill(values, cv::RNG::NORMAL, 10.0, 2.0);
    cv::Mat median;
    cv::medianBlur(values, median, 5);
    for (const double least : {0.0, 1.0, 4.0}) {
      const cv::Mat expected = cv::abs(values - median) > least;
      EXPECT_EQ(cv::countNonZero(StandsOut(values, static_cast<float>(least)) != expected), 0)
          << side << " cells, by over " << least;
    }
  }
}

}  // namespace
}  // namespace endgrade
