// What is thinner than a few cells and differs from what is around it.
#pragma once

#include <opencv2/core.hpp>

namespace endgrade {

// CV_8UC1: 255 where a value (CV_32FC1) differs by more than `least` from the median of the five by
// five about it.
[[nodiscard]] cv::Mat StandsOut(const cv::Mat& values, float least);

}  // namespace endgrade
