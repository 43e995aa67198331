#include "flatten/edge_shape.h"

#include "flatten/robust_fit.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr int kColumns = 4;
constexpr int kEveryDirection = 4;   // of the samples'
constexpr double kLeastSigma = 0.5;  // luma units
constexpr double kLeastSlope = 2.0;  // luma units a um, steepest: below it there is no edge

}  // namespace

EdgeShape FitEdgeShape(const EdgeInputs& in) {
  const PolarSamples& samples = in.samples;
  const double step = samples.circles.step_um;
  const auto slope_at = [&](double radius) {
    return (in.by_radius(radius + step) - in.by_radius(radius - step)) / (2.0 * step);
  };
  double steepest = 0;
  for (int i = 0; i < samples.num_radii; ++i) {
    const double radius = samples.Radius(i);
    if (radius < in.from_um || radius > in.to_um) continue;
    steepest = std::max(steepest, std::abs(slope_at(radius)));
  }
  if (steepest < kLeastSlope) return {};
  std::vector<double> rows;
  std::vector<double> values;
  std::vector<double> weights;
  for (int i = 0; i < samples.num_radii; ++i) {
    const double radius = samples.Radius(i);
    const double slope = slope_at(radius);
    if (radius < in.from_um || radius > in.to_um || std::abs(slope) < 0.3 * steepest) continue;
    for (int d = 0; d < samples.num_directions; d += kEveryDirection) {
      const float value = samples.At(i, d);
      if (std::isnan(value)) continue;
      const double c = samples.directions[static_cast<size_t>(d)].x;
      const double s = samples.directions[static_cast<size_t>(d)].y;
      for (const double shape : {c, s, c * c - s * s, 2.0 * s * c}) rows.push_back(-slope * shape);
      values.push_back(static_cast<double>(value) - in.uneven(samples.PlaceUm(i, d)) -
                       in.by_radius(radius));
      weights.push_back(radius);
    }
  }
  const std::vector<double> fit = FitRobust(rows, values, weights, kColumns, kLeastSigma);
  const EdgeShape shape{fit[0], fit[1], fit[2], fit[3]};
  const double most =
      std::hypot(shape.along_x, shape.along_y) + std::hypot(shape.oval_x, shape.oval_xy);
  return most <= in.most_um ? shape : EdgeShape{};
}

}  // namespace endgrade
