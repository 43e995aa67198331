// Stains that the search for specks is blind to: wider than its widest scale, or cut by the border
// of what is looked at, they fill their own surround. Against the clean face they stand out.
#pragma once

#include "endgrade/detect.h"
#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

//   residual  CV_32FC1, of the map's size: without what lines explain
[[nodiscard]] std::vector<Region> SearchStains(const ContrastMap& map, const cv::Mat& residual);

}  // namespace endgrade
