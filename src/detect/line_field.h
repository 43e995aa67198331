// Where lines are looked for, and how much of a segment lies there.
#pragma once

#include <opencv2/core.hpp>

#include <array>

namespace endgrade {

// Straight segments, each coordinate of all of them side by side.
struct Segments {
  static constexpr size_t kMost = 64;
  using Each = std::array<double, kMost>;

  size_t count = 0;
  Each x, y;              // where they begin, cells
  Each along_x, along_y;  // from there to where they end

  void Add(cv::Point2d from, cv::Point2d to) {
    x[count] = from.x;
    y[count] = from.y;
    along_x[count] = to.x - from.x;
    along_y[count++] = to.y - from.y;
  }
};

// The ring of the face that is summed over: [inner_um, outer_um) about the centre.
struct LineField {
  cv::Point2d centre;        // cells
  cv::Matx22d um_from_cell;  // of (cell - centre)
  double inner_um = 0;
  double outer_um = 0;

  bool operator==(const LineField&) const = default;

  // Share of the segment from a to b that lies in the ring and in an image of `size`.
  [[nodiscard]] double ShareInside(cv::Point2d a, cv::Point2d b, cv::Size size) const;
  // Of each segment.
  void SharesInside(const Segments& segments, cv::Size size, Segments::Each* shares) const;
};

}  // namespace endgrade
