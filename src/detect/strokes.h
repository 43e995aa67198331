// What stands out strongly, in one piece that is far longer than wide and has two ends.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct Stroke {
  cv::Rect box;                   // of the map: what the mask covers
  cv::Mat mask;                   // CV_8UC1: 255 where the stroke is, its soft edge included
  std::vector<cv::Point> way;     // through its middle from end to end, cells of the box
  std::vector<cv::Point2d> line;  // the same without its steps from cell to cell, cells of the map
  double width_cells = 0;         // mean
};

// The residual, smoothed no more than the picture's own blur is wide.
[[nodiscard]] cv::Mat SmoothForStrokes(const ContrastMap& map, const cv::Mat& residual);

// Strokes of either sign or of both: a hair may have a bright middle and dark flanks. What runs
// along the rim or the core's edge is left out.
//
//   smooth    of SmoothForStrokes
//   returns   in the order of their topmost cells
[[nodiscard]] std::vector<Stroke> FindStrokes(const ContrastMap& map, const cv::Mat& smooth);

}  // namespace endgrade
