// What makes a line a scratch, and not a hair, a pit or an edge.
#pragma once

#include "detect/line_profile.h"

namespace endgrade {

// A scratch is no wider; one that is all bright or all dark no wider than half of it.
inline constexpr double kWidestScratchUm = 12.0;

// Whether a line of this length and profile is long, slender and even enough for a scratch.
[[nodiscard]] bool LooksLikeALine(double length_um, const LineProfile& profile, double um_per_cell);

// Whether what shows of a short wide line with two sides lies within less than half of it: a
// particle with a rim, across which the line was drawn, and blank face beyond.
//   residual   CV_32FC1: of the map's size, the line still in it
[[nodiscard]] bool IsOneSpot(const ContrastMap& map,
                             const cv::Mat& residual,
                             const std::vector<cv::Point2d>& spine,
                             const LineProfile& profile);

}  // namespace endgrade
