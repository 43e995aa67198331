// Lines as they were taken out of the picture, each measured with the others out of its way.
#pragma once

#include "detect/line_model.h"
#include "detect/line_trace.h"
#include "endgrade/detect.h"

#include <cstddef>
#include <optional>
#include <vector>

namespace endgrade {

// The least blur that a line is seen through, cells.
constexpr double kLeastLineBlur = 0.5;
constexpr double kOffMiddle = 0.7;  // cells: a spine farther off its line's middle is moved

// A line as it was taken out of the picture.
struct TakenLine {
  LineTrace trace;
  LineModel model;
  LineProfile width;   // as read through the blur of lines
  double half = 0;     // of its band, cells
  bool meets = false;  // another line
  bool again = false;  // one that was taken out since it was measured
  // Itself, or the line that it turned out to be a part of.
  size_t part_of = 0;
};

// The spine moved sideways, to the left of its direction for a negative offset.
[[nodiscard]] std::vector<cv::Point2d> Shifted(const std::vector<cv::Point2d>& spine,
                                               double offset_cells);

[[nodiscard]] Region LineRegion(const TakenLine& line, const Band& band);

// Measures the line in what is in the picture now, and takes it out: subtracts its model, with its
// own strength followed along it, for a scratch fades and breaks. Returns its band.
//
//   profile  of its spine, through the camera's whole blur
//   band     of its spine as it is, if there is one: used if it is wide enough
Band MeasureAndTakeOut(const ContrastMap& map,
                       const LineProfile& profile,
                       std::optional<Band> band,
                       TakenLine* line,
                       cv::Mat* residual);

// Lines that meet were each measured with the others in the way, the first most of all. Puts back
// and measures each again with the others taken out, in turn, and follows it on past its ends.
//
//   regions  of the same order; those of lines that meet are made anew
void MeasureMeetingAgain(const ContrastMap& map,
                         std::vector<TakenLine>* taken,
                         cv::Mat* residual,
                         std::vector<Region>* regions);

}  // namespace endgrade
