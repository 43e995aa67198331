// Follows a line from a straight piece of it, round gentle bends and over gaps.
#pragma once

#include "detect/line_transform.h"
#include "detect/sample.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// Along a polyline.
[[nodiscard]] double LengthOf(const std::vector<cv::Point2d>& line);

// How far a line strays from the parabola, end to end, that fits it best: a scratch is drawn by one
// stroke, a crack goes its own way.
[[nodiscard]] double Straying(const std::vector<cv::Point2d>& line);

struct LineTrace {
  std::vector<cv::Point2d> spine;  // in order, about a block apart, in cells of the score map
  double mean_score = 0;           // along the spine
  double snr = 0;                  // summed evidence over its own noise
  double on_fraction = 0;          // share of blocks that show it
  double turning_deg = 0;          // how far its direction wanders, end to end and between
  [[nodiscard]] double Length() const;
};

// Points along a polyline, `step` apart, first point included.
[[nodiscard]] std::vector<cv::Point2d> Resample(const std::vector<cv::Point2d>& line, double step);

// Mean of sign * score, each sample held within [-3, 4] so that one speck is not a line.
[[nodiscard]] double MeanScore(const cv::Mat& score, double sign, cv::Point2d from, cv::Point2d to);

// Moves every point of the spine sideways onto the line, as seen in a window along it: the blocks
// of a trace are straight, the line need not be.
//
//   exact     a map of what shows the line
//   per_unit  turns its values into units of its noise, positive for the line
//   window    cells
void Recentre(const cv::Mat& exact,
              double per_unit,
              double window,
              std::vector<cv::Point2d>* spine);

//   score   held within bounds, zero where earlier lines are: decides how far the line goes
//   exact   the same without bounds: tells where its middle is
// `correlation_cells`: how many cells along a line count as one independent value.
[[nodiscard]] LineTrace TraceLine(const cv::Mat& score,
                                  const cv::Mat& exact,
                                  const LineCandidate& seed,
                                  double correlation_cells);

}  // namespace endgrade
