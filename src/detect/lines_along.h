// How many lines run in a direction: polishing leaves whole families of scratches.
#pragma once

#include "endgrade/detect.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// So many lines or more of one direction are a family.
inline constexpr int kFamily = 3;

// Of the lines, within 6 degrees of `along`, a unit vector.
[[nodiscard]] int LinesAlong(const std::vector<Region>& lines, cv::Point2d along);

}  // namespace endgrade
