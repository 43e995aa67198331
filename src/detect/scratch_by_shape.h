// A scratch in the ferrule's grain may be too short for the search for lines, whose noise the grain
// is, and one of many on the glass too close to the next one, but plain enough for that for specks:
// its shape tells it then.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Makes a line of a region whose brightness runs along a straight or gently bent stroke, slender
// and even enough for a scratch, with hardly anything beside it: on the ferrule, or on the glass
// where several of `lines` run as it does. False, and the region as it was, otherwise.
//   residual   CV_32FC1: the map's, less the lines that were found
[[nodiscard]] bool TellScratchByShape(const ContrastMap& map,
                                      const cv::Mat& residual,
                                      const std::vector<Region>& lines,
                                      Region* region);

}  // namespace endgrade
