// A scratch in the ferrule's grain may be too short for the search for lines, whose noise the grain
// is, and plain enough for that for specks: its shape tells it then.
#pragma once

#include "endgrade/detect.h"

namespace endgrade {

// Makes a line of a region on the ferrule whose brightness runs along a straight or gently bent
// stroke, slender and even enough for a scratch, with hardly anything beside it. False, and the
// region as it was, otherwise.
//   residual   CV_32FC1: the map's, less the lines that were found
[[nodiscard]] bool TellScratchByShape(const ContrastMap& map,
                                      const cv::Mat& residual,
                                      Region* region);

}  // namespace endgrade
