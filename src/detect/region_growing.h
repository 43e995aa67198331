// From the peak of a response to the cells that belong to it.
#pragma once

#include "detect/response.h"
#include "endgrade/detect.h"

#include <optional>

namespace endgrade {

// Grows a region from `peak` (response cells) over cells that stand at least half as high above the
// local surroundings as the peak does, and clear of the noise.
//
//   taken     CV_8UC1, of the response's size: cells that other regions hold; updated
//   returns   the region in map cells, or nothing when the peak's own cell is taken
[[nodiscard]] std::optional<Region> GrowRegion(const ContrastMap& map,
                                               const Response& response,
                                               cv::Point peak,
                                               cv::Mat* taken);

}  // namespace endgrade
