// What tells nothing of the clean face.
#pragma once

#include "endgrade/detect.h"
#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// CV_8UC1, of the map's cells: 255 where a region holds the cell or something hides the face.
[[nodiscard]] cv::Mat HeldCells(const ContrastMap& map, const std::vector<Region>& regions);

}  // namespace endgrade
