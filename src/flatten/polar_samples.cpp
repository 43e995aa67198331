#include "flatten/polar_samples.h"

#include <array>
#include <cmath>
#include <limits>
#include <numbers>

namespace endgrade {
namespace {

struct Direction {
  double cos, sin;
};

const std::array<Direction, PolarSamples::kDirections>& Directions() {
  static const auto table = [] {
    std::array<Direction, PolarSamples::kDirections> t{};
    for (size_t i = 0; i < t.size(); ++i) {
      const double angle = 2.0 * std::numbers::pi * static_cast<double>(i) / t.size();
      t[i] = {std::cos(angle), std::sin(angle)};
    }
    return t;
  }();
  return table;
}

float Bilinear(const cv::Mat& level, double x, double y) {
  const int x0 = static_cast<int>(std::floor(x));
  const int y0 = static_cast<int>(std::floor(y));
  if (x0 < 0 || y0 < 0 || x0 + 1 >= level.cols || y0 + 1 >= level.rows) {
    return std::numeric_limits<float>::quiet_NaN();
  }
  const float fx = static_cast<float>(x - x0);
  const float fy = static_cast<float>(y - y0);
  const float* top = level.ptr<float>(y0) + x0;
  const float* bottom = level.ptr<float>(y0 + 1) + x0;
  const float upper = top[0] + fx * (top[1] - top[0]);
  const float lower = bottom[0] + fx * (bottom[1] - bottom[0]);
  return upper + fy * (lower - upper);
}

}  // namespace

cv::Point2d PolarSamples::PlaceUm(int radius, int direction) const {
  const Direction& d = Directions()[static_cast<size_t>(direction)];
  return {centre_um.x + Radius(radius) * d.cos, centre_um.y + Radius(radius) * d.sin};
}

PolarSamples ReadCircles(const ContrastMap& map,
                         const Scale& scale,
                         cv::Point2d centre_um,
                         double from_um,
                         double to_um,
                         double step_um) {
  PolarSamples samples;
  samples.from_um = from_um;
  samples.step_um = step_um;
  samples.centre_um = centre_um;
  samples.num_radii = std::max(0, static_cast<int>(std::floor((to_um - from_um) / step_um)) + 1);
  samples.values.resize(static_cast<size_t>(samples.num_radii) * PolarSamples::kDirections);
  const cv::Matx22d px_from_um = scale.um_from_px.inv();
  size_t next = 0;
  for (int i = 0; i < samples.num_radii; ++i) {
    for (int d = 0; d < PolarSamples::kDirections; ++d) {
      const cv::Point2d um = samples.PlaceUm(i, d);
      const cv::Vec2d px = px_from_um * cv::Vec2d(um.x, um.y);
      const cv::Point2d cell =
          map.CellFromPx({scale.centre_px.x + px[0], scale.centre_px.y + px[1]});
      samples.values[next++] = Bilinear(map.level, cell.x, cell.y);
    }
  }
  return samples;
}

}  // namespace endgrade
