// Scratches: lines a few cells wide and many long, faint ones included.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

struct LinesFound {
  std::vector<Region> lines;

  // CV_32SC1, of the map's size: index + 1 of the line whose band holds the cell, else 0. The band
  // reaches beyond the line itself to where sharpening halos end.
  cv::Mat bands;
};

// Finds lines on the glass and on the ferrule, measures their width, and takes them out of
// `residual` (CV_32FC1, of the map's size), so that specks on them show by themselves.
[[nodiscard]] LinesFound SearchLines(const ContrastMap& map,
                                     const DetectOptions& options,
                                     cv::Mat* residual);

}  // namespace endgrade
