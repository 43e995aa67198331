#include "flatten/polar_samples.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace endgrade {
namespace {

float Bilinear(const cv::Mat& level, double x, double y) {
  if (x < 0 || y < 0 || x >= level.cols - 1 || y >= level.rows - 1) {
    return std::numeric_limits<float>::quiet_NaN();
  }
  const int x0 = static_cast<int>(x);
  const int y0 = static_cast<int>(y);
  const float fx = static_cast<float>(x - x0);
  const float fy = static_cast<float>(y - y0);
  const float* top = level.ptr<float>(y0) + x0;
  const float* bottom = level.ptr<float>(y0 + 1) + x0;
  const float upper = top[0] + fx * (top[1] - top[0]);
  const float lower = bottom[0] + fx * (bottom[1] - bottom[0]);
  return upper + fy * (lower - upper);
}

bool IsHidden(const cv::Mat& valid, cv::Point2d cell) {
  const cv::Point at(cvRound(cell.x), cvRound(cell.y));
  return cv::Rect({0, 0}, valid.size()).contains(at) && valid.at<uchar>(at) == 0;
}

}  // namespace

PolarSamples ReadCircles(const ContrastMap& map,
                         const Scale& scale,
                         cv::Point2d centre_um,
                         const Circles& circles) {
  PolarSamples samples;
  samples.circles = circles;
  samples.centre_um = centre_um;
  samples.num_directions = circles.num_directions;
  samples.num_radii = std::max(
      0, static_cast<int>(std::floor((circles.to_um - circles.from_um) / circles.step_um)) + 1);
  for (int d = 0; d < circles.num_directions; ++d) {
    const double angle = 2.0 * std::numbers::pi * d / circles.num_directions;
    samples.directions.emplace_back(std::cos(angle), std::sin(angle));
  }
  samples.values.reserve(static_cast<size_t>(samples.num_radii) *
                         static_cast<size_t>(circles.num_directions));
  // A micrometre in each direction, in cells.
  const cv::Matx22d cell_from_um = scale.um_from_px.inv() * (1.0 / map.cell_px);
  const auto step_of = [&](cv::Point2d um) {
    const cv::Vec2d cells = cell_from_um * cv::Vec2d(um.x, um.y);
    return cv::Point2d(cells[0], cells[1]);
  };
  std::vector<cv::Point2d> steps;
  for (const cv::Point2d& direction : samples.directions) steps.push_back(step_of(direction));
  const cv::Point2d centre = map.CellFromPx(scale.centre_px) + step_of(centre_um);
  const bool all_seen = map.valid.empty();
  for (int i = 0; i < samples.num_radii; ++i) {
    const double radius = samples.Radius(i);
    for (const cv::Point2d& step : steps) {
      const cv::Point2d cell = centre + step * radius;
      const bool seen = all_seen || !IsHidden(map.valid, cell);
      samples.values.push_back(seen ? Bilinear(map.level, cell.x, cell.y)
                                    : std::numeric_limits<float>::quiet_NaN());
    }
  }
  return samples;
}

}  // namespace endgrade
