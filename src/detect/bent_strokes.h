// Hairs, lint and cracks: strong strokes that wander as no scratch does, each taken whole.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Looks for what stands out strongly, of either sign, in one piece that is far longer than wide and
// has two ends: a stroke. One that neither a straight line nor a gentle bend explains, or whose
// middle and flanks are of two signs, is a defect, whatever its parts look like by themselves: a
// search for lines would take its straighter pieces for scratches, which the outer zones allow.
//
//   fringe_share  what a camera's sharpening leaves beside an edge (sharpening.h)
//   residual      CV_32FC1, of the map's size, or the map's own; what is found is taken out of it,
//                 of a copy where it is the map's own
//   returns       regions, strongest first; not lines
[[nodiscard]] std::vector<Region> TakeOutBentStrokes(const ContrastMap& map,
                                                     double fringe_share,
                                                     cv::Mat* residual);

}  // namespace endgrade
