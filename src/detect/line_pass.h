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

// How far each cell of a part of the map stands out, and what of that is left to be explained.
struct LinePass {
  LinePlan plan;
  cv::Rect part;           // of the map: what the pass covers, in the map's cells
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
    return {(p.x + 0.5) * reduction - 0.5 + part.x, (p.y + 0.5) * reduction - 0.5 + part.y};
  }
  // Whether a line that was followed to its end might go on where the pass does not reach.
  [[nodiscard]] bool MayGoOn(const std::vector<cv::Point2d>& spine, const ContrastMap& map) const;
};

// A pass over as much of the map as the plan's ring needs, with some room around it: most of what
// is on the glass ends there.
//
//   residual  CV_32FC1, of the map's size: the map's residual, or what is left of it
[[nodiscard]] LinePass MakeLinePass(const ContrastMap& map,
                                    const cv::Mat& residual,
                                    const LinePlan& plan);

// The same pass over all of the map; where it was before, it is as it was.
//
//   shift  what has to be added to a place of the pass before
[[nodiscard]] LinePass Widened(const LinePass& pass,
                               const ContrastMap& map,
                               const cv::Mat& residual,
                               cv::Point2f* shift);

// Straight pieces of lines, strongest first, in cells of the pass.
[[nodiscard]] std::vector<LineCandidate> CandidatesOf(const LinePass& pass);

}  // namespace endgrade
