// The brightness across a line, averaged along it, and the width that explains it.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct LineProfile {
  double step_cells = 0.5;
  std::vector<double> offsets;  // cells, from the spine; left of its direction is negative
  std::vector<double> values;   // mean residual, luma units
  double sum = 0;               // of the values
  double squares = 0;           // the sum of theirs
  double side_step = 0;         // median difference between its two sides, luma units

  // A bar of `bar_cells` seen through the blur explains the profile. Light from one side makes
  // one half of a scratch bright and the other dark: its halves have a height each then.
  double amplitude = 0;        // luma units, signed; the left half's own, before blur
  double right_amplitude = 0;  // the right half's; mostly the same
  double peak = 0;             // luma units, signed; the stronger half's as seen
  double centre_cells = 0;
  double bar_cells = 0;                // the bar that explains it best: the model
  double width_cells = 0;              // the mean of all that explain it: the measured width
  double width_uncertainty_cells = 0;  // k = 2
  double misfit = 0;                   // rms of what the bar leaves unexplained over |peak|

  // The fitted bar at an offset, without its base.
  [[nodiscard]] double ModelAt(double offset_cells, double blur_cells) const;
};

// The blur that a line's width is read through, cells: that of the core of the camera's spread. Its
// tails, which the edge of something wide shows, a line loses in what lies around it; with them in,
// a scratch of 1 um is told as one of 0.4.
[[nodiscard]] double BlurOfLines(const ContrastMap& map);

// How far to either side of a line its profile is looked at, cells.
[[nodiscard]] double ReachAcross(const ContrastMap& map);

// Averages along the whole spine, samples held within three robust sigma at each offset so that
// specks on the line weigh little. Looks half_width_cells to either side, and twice as far where a
// step between the sides turns out to be a bright half and a dark one of a wide scratch.
[[nodiscard]] LineProfile MeasureProfile(const cv::Mat& residual,
                                         const std::vector<cv::Point2d>& spine,
                                         double blur_cells,
                                         double half_width_cells);

}  // namespace endgrade
