// The middle line of a thin, gently bent region, and the width that the brightness across it tells.
#pragma once

#include "endgrade/detect.h"

#include <opencv2/core.hpp>

#include <optional>
#include <vector>

namespace endgrade {

struct Band {
  std::vector<cv::Point2d> middle;  // cells, its ends left out
  double width_cells = 0;           // corrected for blur
  double uncertainty_cells = 0;     // k = 2, of the fit alone
};

// The parabola along the region's longest side that fits its border best, in cells, from end to
// end; empty where the border has fewer than eight points.
[[nodiscard]] std::vector<cv::Point2d> MiddleLineOf(const std::vector<cv::Point2f>& edge_cells);

// The width of a region that is long and narrow, measured as a line's is: from the picture as it
// is, not from the smoothed one in which the region was found. Nothing where no bar explains the
// brightness across it.
[[nodiscard]] std::optional<Band> MeasureBand(const ContrastMap& map, const Region& region);

}  // namespace endgrade
