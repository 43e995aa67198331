// Step 6, ContrastMap -> regions: what stands out of the local noise, as specks, films and lines.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <optional>
#include <string>
#include <vector>

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
  double depth = 0;              // signed height above the local background, luma units
  double base = 0;               // of the residual around it, from which `depth` is counted

  // Where the brightness crosses half of that height, to a fraction of a cell, on the map smoothed
  // by a Gaussian of `smoothing_cells`; unordered.
  std::vector<cv::Point2f> edge;

  // As grown, before its border is refined: the first so many of `cells` have the sign of `depth`,
  // the rest are a rim.
  size_t body_cells = 0;
  bool rimmed = false;     // its border is that of a thin rim of the other sign
  double rim_share = 1.0;  // of the directions around it, those in which that rim is seen
  bool soft_rim = false;   // its middle is a little fainter than its border, as of a faint rim
  cv::Point2d peak;        // of the response, cells
  double smoothing_cells = 0;

  // Mean step across the border over +/- kEdgeReach, as a share of the depth: near 1 for a thing in
  // focus, small for a shadow of something far out of it.
  double edge_sharpness = 1.0;
  bool in_focus = false;  // a wide part of it has a border that no shadow has
  int line_below = 0;     // 1 + index of the line that it lies on as a speck of its own; 0: none

  bool no_scratch = false;  // a hair or a crack, told by its course or its flanks: never a scratch

  // A line: found by the line search. Its middle line, cells, in order; its width corrected for
  // blur, and that width's expanded uncertainty (k = 2).
  bool is_line = false;
  std::vector<cv::Point2d> spine;
  double line_width_cells = 0;
  double line_width_uncertainty_cells = 0;
};

// How noisy one scale of the speck search was, ring by ring of ContrastMap.ring_edges_um.
struct ScaleNoise {
  double sigma_cells = 0;
  std::vector<double> ring_noise;  // of the band-passed response, luma units
};

struct Detection {
  std::vector<Region> regions;
  std::vector<ScaleNoise> scales;  // of the speck search, fine to coarse
  cv::Mat without_lines;           // CV_32FC1: the map's residual, less the lines that were found
};

// Ratio of the surround's Gaussian to the centre's in every matched response.
inline constexpr double kSurroundRatio = 2.5;

[[nodiscard]] Detection DetectRegions(const ContrastMap& contrast,
                                      const DetectOptions& options = {});

}  // namespace endgrade
