// Which strokes go on in one another, as a hair does that lies across the rim.
#pragma once

#include "detect/strokes.h"

#include <cstddef>
#include <vector>

namespace endgrade {

// Strokes end to end, and the line through all of them.
struct StrokeChain {
  std::vector<std::size_t> strokes;
  std::vector<cv::Point2d> line;
  double width_cells = 0;  // of the widest
};

// Joins two ends that lie near one another and point at one another, where neither could be joined
// to a third. A stroke that goes on in no other is a chain by itself.
[[nodiscard]] std::vector<StrokeChain> ChainsOf(const ContrastMap& map,
                                                const std::vector<Stroke>& strokes);

}  // namespace endgrade
