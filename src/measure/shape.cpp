#include "measure/shape.h"

#include "measure/enclosing_circle.h"
#include "measure/parabola.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

// Extent of the points along a unit direction.
double Extent(const std::vector<cv::Point2d>& points, cv::Point2d direction) {
  double low = std::numeric_limits<double>::max();
  double high = std::numeric_limits<double>::lowest();
  for (const cv::Point2d& p : points) {
    const double along = p.dot(direction);
    low = std::min(low, along);
    high = std::max(high, along);
  }
  return high - low;
}

// Spread of the points to either side of the parabola that fits them best, along `along`: between
// their 2 % and 98 % quantiles.
double WidthAcrossParabola(const std::vector<cv::Point2d>& points,
                           cv::Point2d along,
                           double length) {
  const auto parabola = FitParabola(points, along, length);
  if (!parabola) return 0.0;
  std::vector<double> off;
  off.reserve(points.size());
  for (const cv::Point2d& p : points) off.push_back(parabola->Beside(p));
  const auto cut = static_cast<std::ptrdiff_t>(off.size() / 50);
  const auto low = off.begin() + cut;
  const auto high = off.end() - 1 - cut;
  std::nth_element(off.begin(), low, off.end());
  const double least = *low;
  std::nth_element(low, high, off.end());
  return *high - least;
}

}  // namespace

Shape DescribeShape(const std::vector<cv::Point2d>& edge_um) {
  Shape shape;
  const std::vector<cv::Point2d> hull = ConvexHull(edge_um);
  const EnclosingCircle circle = EncloseHull(hull);
  shape.diameter_enclosing_um = circle.diameter;
  shape.centre_um = circle.centre;

  // The least width of a convex polygon is reached with one of its sides flush (rotating calipers).
  shape.length_um = shape.diameter_enclosing_um;
  shape.width_um = hull.size() < 3 ? 0.0 : std::numeric_limits<double>::max();
  cv::Point2d direction(1, 0);
  for (size_t i = 0; i < hull.size() && hull.size() >= 3; ++i) {
    const cv::Point2d side = hull[(i + 1) % hull.size()] - hull[i];
    const double length = std::hypot(side.x, side.y);
    if (length <= 0) continue;
    const cv::Point2d along = side * (1.0 / length);
    const double width = Extent(hull, {-along.y, along.x});
    if (width < shape.width_um) {
      shape.width_um = width;
      shape.length_um = Extent(hull, along);
      direction = along;
    }
  }
  shape.bent_width_um = WidthAcrossParabola(edge_um, direction, shape.length_um);
  if (shape.width_um > shape.length_um) std::swap(shape.width_um, shape.length_um);

  shape.nearest_um = std::numeric_limits<double>::max();
  for (const cv::Point2d& p : edge_um) {
    const double radius = std::hypot(p.x, p.y);
    shape.nearest_um = std::min(shape.nearest_um, radius);
    shape.furthest_um = std::max(shape.furthest_um, radius);
  }
  return shape;
}

}  // namespace endgrade
