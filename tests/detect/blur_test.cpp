#include "detect/blur.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

cv::Mat RandomMap(cv::Size size) {
  cv::RNG random(5);
  cv::Mat map(size, CV_32FC1);
  random.fill(map, cv::RNG::UNIFORM, -100.0, 100.0);
  return map;
}

// The reference is OpenCV's filter, which adds up in another order; seven digits of float.
TEST(BlurTest, IsOpenCvs) {
  for (const cv::Size& size : {cv::Size(70, 41), cv::Size(33, 64), cv::Size(5, 3)}) {
    for (const double sigma : {0.3, 0.7, 1.9, 4.0}) {
      const cv::Mat map = RandomMap(size);
      const int reach = std::max(1, static_cast<int>(std::ceil(3.0 * sigma)));
      const cv::Size across(2 * reach + 1, 2 * reach + 1);
      cv::Mat blurred;
      cv::GaussianBlur(map, blurred, across, sigma, sigma, cv::BORDER_REFLECT_101);
      EXPECT_LT(cv::norm(blurred, Blurred(map, sigma), cv::NORM_INF), 1e-4) << size << sigma;
    }
  }
}

// A face's corners are 0, and so may be whole rows.
TEST(BlurTest, IsOpenCvsWhereMostIsZero) {
  const cv::Size size(90, 83);
  for (const cv::Rect& filled : {cv::Rect(30, 20, 25, 40),
                                 cv::Rect(0, 60, 3, 23),
                                 cv::Rect(41, 41, 1, 1),
                                 cv::Rect(88, 0, 2, 2),
                                 cv::Rect()}) {
    cv::Mat map = cv::Mat::zeros(size, CV_32FC1);
    if (!filled.empty()) RandomMap(size)(filled).copyTo(map(filled));
    cv::Mat blurred;
    cv::GaussianBlur(map, blurred, cv::Size(13, 13), 2.0, 2.0, cv::BORDER_REFLECT_101);
    EXPECT_LT(cv::norm(blurred, Blurred(map, 2.0), cv::NORM_INF), 1e-4) << filled;
  }
}

}  // namespace
}  // namespace endgrade
