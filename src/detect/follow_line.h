// A line followed on past its ends, by its own model.
#pragma once

#include "detect/line_model.h"
#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// Cells from the end of a line that tell where it goes.
constexpr double kTangent = 30.0;

// 0: on the rim; otherwise which side of it. Glass and ferrule show a scratch differently.
[[nodiscard]] int SideOfRim(const ContrastMap& map, cv::Point2d cell);

// Follows the line on past both of its ends, over short gaps, on its own side of the rim. Returns
// whether it is longer for it.
//
//   residual  CV_32FC1, of the map's size: with this line in it, and others that were found taken
//   out model     of the line spine     cells
bool FollowBothWays(const ContrastMap& map,
                    const cv::Mat& residual,
                    const LineModel& model,
                    std::vector<cv::Point2d>* spine);

}  // namespace endgrade
