// Step 6, ContrastMap -> regions: what stands out of the local noise, as specks, films and lines.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "endgrade/flatten.h"

namespace endgrade {

struct DetectOptions {
  // Least peak of a matched response, in multiples of that response's local noise. Range [3, 20].
  double threshold_sigma = 5.5;

  // The same for lines: there are more places and directions to be fooled at. Range [3, 20].
  double line_threshold_sigma = 6.0;

  // Longest side of the largest speck or film that has a filter of its own, um. Range [2, 60].
  double largest_scale_um = 30.0;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

// A connected set of cells that stands out, with the evidence for it.
struct Region {
  std::vector<cv::Point> cells;  // positions in the ContrastMap
  double snr = 0;                // peak of matched response over its noise
  double depth = 0;              // signed peak of the smoothed residual, luma units
  bool is_line = false;          // found, or confirmed, by the line search

  // For lines: its middle line, cells, in order, and width from the stacked profile across it.
  std::vector<cv::Point2d> spine;
  double line_width_cells = 0;              // blur-corrected
  double line_width_uncertainty_cells = 0;  // k = 2
};

[[nodiscard]] std::vector<Region> DetectRegions(const ContrastMap& contrast,
                                                const DetectOptions& options = {});

}  // namespace endgrade
