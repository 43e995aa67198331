// Matched responses and their noise: how far each cell stands out at one scale, ring by ring.
#pragma once

#include "detect/ring_noise.h"
#include "endgrade/detect.h"
#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

namespace endgrade {

// One scale of the speck search. Cells here are `reduction` map cells wide.
struct Response {
  int reduction = 1;
  double sigma_cells = 1;  // of the smoothing, in map cells
  double own_sigma = 1;    // of its Gaussian, where reducing does the rest of it
  cv::Mat smooth;          // CV_32FC1: residual under a Gaussian of sigma
  cv::Mat band;            // smooth minus a surround of kSurroundRatio sigma: the matched response
  cv::Mat radius_um;       // CV_32FC1
  RingNoise noise;         // of `band`, luma units; tails of non-Gaussian grain included

  [[nodiscard]] cv::Point2d MapCell(cv::Point2d p) const {
    return {(p.x + 0.5) * reduction - 0.5, (p.y + 0.5) * reduction - 0.5};
  }
};

// What scales of one reduction have in common.
struct Reduced {
  int reduction = 0;  // 0: nothing yet
  cv::Mat residual;   // CV_32FC1: means over blocks
  cv::Mat radius_um;  // CV_32FC1
};

// The smoothed residual and where its cells lie, without a matched response and its noise.
//
//   kept      of the scale before, where that saw the same residual; becomes this one's. Null: none
[[nodiscard]] Response SmoothAtScale(const ContrastMap& map,
                                     const cv::Mat& residual,
                                     double sigma_cells,
                                     Reduced* kept = nullptr);

// Response to blobs of Gaussian size `sigma_cells` (at least 0.7).
//
//   residual  CV_32FC1, of the map's size: the map's residual, or what is left of it
//   kept      as above
[[nodiscard]] Response RespondAtScale(const ContrastMap& map,
                                      const cv::Mat& residual,
                                      double sigma_cells,
                                      Reduced* kept = nullptr);

}  // namespace endgrade
