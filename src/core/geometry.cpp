#include "endgrade/geometry.h"

#include <cmath>
#include <numbers>

namespace endgrade {

double Ellipse::MeanRadius() const { return std::sqrt(semi_major_px * semi_minor_px); }

cv::Matx22d Ellipse::ToUnitCircle() const {
  const double angle = angle_deg * std::numbers::pi / 180.0;
  const double c = std::cos(angle);
  const double s = std::sin(angle);
  const double along = 1.0 / semi_major_px;
  const double across = 1.0 / semi_minor_px;
  // R diag(along, across) R^T: stretches along the axes of the ellipse.
  return {c * c * along + s * s * across,
          c * s * (along - across),
          c * s * (along - across),
          s * s * along + c * c * across};
}

double Ellipse::NormalisedRadius(cv::Point2d p_px) const {
  const cv::Vec2d u = ToUnitCircle() * cv::Vec2d(p_px.x - centre_px.x, p_px.y - centre_px.y);
  return std::hypot(u[0], u[1]);
}

cv::Point2d Ellipse::RimPoint(double angle_rad) const {
  const cv::Matx22d to_px = ToUnitCircle().inv();
  const cv::Vec2d d = to_px * cv::Vec2d(std::cos(angle_rad), std::sin(angle_rad));
  return {centre_px.x + d[0], centre_px.y + d[1]};
}

}  // namespace endgrade
