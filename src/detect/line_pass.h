// One pass of the search for lines: on one material, at one width.
#pragma once

#include "detect/line_field.h"
#include "detect/line_transform.h"
#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// What a pass looks for, and where.
struct LinePlan {
  double sigma_cells = 1;  // of the smoothing
  double from_um = 0;      // the ring of the face that is looked at
  double to_um = 0;
  double threshold = 6;      // least signal-to-noise of a line
  float most_spread = 0.0F;  // LineSumOptions.most_spread
};

// How far each cell stands out, and what of that is left to be explained.
struct LinePass {
  LinePlan plan;
  int reduction = 1;       // map cells per cell of the pass
  cv::Mat score;           // CV_32FC1: response over noise
  cv::Mat bounded;         // the same, held within kMostScore, zero where taken
  cv::Rect box;            // the part that the field covers
  cv::Mat summed;          // of the box: the same, zero outside the field
  LineField field;         // where lines are looked for
  double correlation = 1;  // cells along a line that count as one independent value
  double um_per_cell = 1;

  // From cells of the pass to cells of the map.
  [[nodiscard]] cv::Point2d MapCell(cv::Point2d p) const {
    return {(p.x + 0.5) * reduction - 0.5, (p.y + 0.5) * reduction - 0.5};
  }
};

//   residual  CV_32FC1, of the map's size: the map's residual, or what is left of it
[[nodiscard]] LinePass MakeLinePass(const ContrastMap& map,
                                    const cv::Mat& residual,
                                    const LinePlan& plan);

// Straight pieces of lines, strongest first, in cells of the pass.
//
//   samples   as of SumLines, whatever earlier pass they are of
[[nodiscard]] std::vector<LineCandidate> CandidatesOf(const LinePass& pass, SpreadSamples* samples);

}  // namespace endgrade
