// The brightness across a rim, averaged over those sectors of it that show it.
#pragma once

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::locate {

// Mean of each column over the middle half of those rows whose weight is above 0; the median over
// all rows where none is.
[[nodiscard]] std::vector<double> CommonProfile(const cv::Mat& values,
                                                const std::vector<double>& weights);

}  // namespace endgrade::locate
