// A Gaussian blur of a map.
#pragma once

#include <opencv2/core.hpp>

namespace endgrade {

// As cv::GaussianBlur with BORDER_REFLECT_101, three sigma to either side, but in one pass over the
// map and with the same bits on every processor.
//
//   image     CV_32FC1, not empty
//   sigma     cells, above 0
[[nodiscard]] cv::Mat Blurred(const cv::Mat& image, double sigma);

}  // namespace endgrade
