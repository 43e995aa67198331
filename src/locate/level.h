// The picture at reduced sizes, and what rays across it see.
#pragma once

#include "locate/rim_frame.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::locate {

// The picture averaged over `factor` x `factor` pixels; CV_32FC1, in units of 1/255 of white.
struct Level {
  cv::Mat image;
  double factor = 1.0;
  cv::Point origin;  // of the part it shows, in pixels of the picture

  [[nodiscard]] RimFrame FrameOf(const RimFrame& in_picture) const;
  [[nodiscard]] RimFrame PictureOf(const RimFrame& in_level) const;
};

// A part of the picture, reduced.
[[nodiscard]] Level MakeLevel(const cv::Mat& luma, double white_level, cv::Rect part, int factor);
// The same, once more by two.
[[nodiscard]] Level HalveLevel(const Level& level);

// Brightness along rays from a centre outwards. Rows are angles, evenly spread over the turn from
// +x towards +y; columns are radii as a share of the frame's. NaN outside the picture.
struct PolarMap {
  cv::Mat values;  // CV_32FC1
  double first = 0;
  double step = 0;

  [[nodiscard]] double RadiusAt(double column) const { return first + step * column; }
  [[nodiscard]] double ColumnAt(double radius) const { return (radius - first) / step; }
};

struct PolarGrid {
  int rays = 96;
  int averaged = 1;  // rays side by side that are averaged into one row
  double from = 0.7;
  double to = 1.3;
  int columns = 64;
};

// Bilinear samples. `in_level` is the frame in the level's own pixels.
[[nodiscard]] PolarMap SampleRays(const Level& level, const RimFrame& in_level, PolarGrid grid);

// Derivative of the smoothed brightness along each ray, a column; Gaussian of `sigma` columns.
// NaN where the kernel leaves the picture.
[[nodiscard]] cv::Mat SlopeAlongRays(const cv::Mat& values, double sigma);

// Robust standard deviation of the finite entries about zero, from the 35 % quantile of their
// sizes, so that edges on nearly half of them do not count; 0 if none.
[[nodiscard]] double RobustSpread(const cv::Mat& values);
[[nodiscard]] float Median(const std::vector<float>& values);

}  // namespace endgrade::locate
