// The connected pieces of a mask. Told run by run, which costs next to nothing where few cells are
// marked.
#pragma once

#include "detect/runs.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct MaskPiece {
  cv::Rect box;
  int area = 0;           // cells
  std::vector<Run> runs;  // row by row
};

// Which neighbours of a cell are one piece with it.
enum class Touching { kSides, kSidesAndCorners };

//   mask      CV_8UC1: 255 where a piece is, 0 elsewhere
//   returns   in the order of their topmost cells, from left to right
[[nodiscard]] std::vector<MaskPiece> PiecesOf(const cv::Mat& mask, Touching touching);

// 255 where the piece is, 0 elsewhere in its box: CV_8UC1.
[[nodiscard]] cv::Mat MaskOf(const MaskPiece& piece);

}  // namespace endgrade
