// Sums along straight line segments of all places and directions at once, over dyadic lengths.
#pragma once

#include "detect/line_field.h"

#include <opencv2/core.hpp>

#include <array>
#include <vector>

namespace endgrade {

// A straight segment whose sum stands out, in the cells of the summed image.
struct LineCandidate {
  cv::Point2f from;
  cv::Point2f to;
  float snr = 0;  // |sum| / (sqrt(cells) * spread of such sums)
  float sign = 1;
};

struct LineSumOptions {
  int shortest_cells = 16;        // power of two
  double least_filled = 0.6;      // share of a segment that must lie inside the field
  float threshold = 6.0F;         // least |snr|
  size_t most_candidates = 4000;  // strongest kept
  // A family of lines is no noise of its own direction: where several lines are at least so far
  // apart, the spread of sums of one length is taken for no more than so many times the least among
  // the four orientations. 0: it never is.
  float most_spread = 0.0F;
  float apart_cells = 6.0F;
};

// Largest score that SumLines keeps: beyond it a cell counts no more.
inline constexpr float kMostScore = 3.0F;

// A sum that helps to tell how much sums vary.
struct SpreadSample {
  int row = 0;  // of the sums of its length
  int column = 0;
  float own = 1;  // what it would vary by if cells were independent, in the sums' units
};

// Which sums tell that, by orientation and length. They depend on the field alone, and to find them
// costs more than to sum: kept from one search of a field to the next.
struct SpreadSamples {
  LineField field;
  cv::Size size;
  std::array<std::vector<std::vector<SpreadSample>>, 4> found;
};

// Approximate discrete Radon transform on strips: at each level a strip of 2^k rows holds the sums
// along every segment that crosses it, built from two segments of the level below. Lines nearer to
// the horizontal come from the transposed image. O(N log N) for N cells, in 16-bit integers: scores
// are kept to 1/8, far below their own noise of 1.
//
//   score     CV_32FC1: signal over noise, a cell; zero outside the field; at most 4096 a side
//   samples   those of an earlier search with these options, or none; of this field afterwards
//   returns   local maxima over place and slope, strongest first
//   method    Brady 1998; Goetz & Druckmueller 1996 (from memory)
[[nodiscard]] std::vector<LineCandidate> SumLines(const cv::Mat& score,
                                                  const LineField& field,
                                                  const LineSumOptions& options,
                                                  SpreadSamples* samples);

}  // namespace endgrade
