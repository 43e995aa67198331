#include "locate/rim_frame.h"

#include <cmath>

namespace endgrade::locate {
namespace {

// The symmetric square root of m * m^T: the same ellipse without the rotation.
cv::Matx22d Symmetric(const cv::Matx22d& m) {
  const cv::Matx22d square = m * m.t();
  const double root_det = std::sqrt(std::max(0.0, cv::determinant(square)));
  const double scale = 1.0 / std::sqrt(square(0, 0) + square(1, 1) + 2.0 * root_det);
  return (square + cv::Matx22d::eye() * root_det) * scale;
}

}  // namespace

RimFrame RimFrame::Circle(cv::Point2d centre, double radius) {
  return {centre, cv::Matx22d::eye() * radius};
}

double RimFrame::Radius() const { return std::sqrt(cv::determinant(shape)); }

cv::Point2d RimFrame::At(double cos_t, double sin_t, double rho) const {
  const cv::Vec2d d = shape * cv::Vec2d(rho * cos_t, rho * sin_t);
  return {centre.x + d[0], centre.y + d[1]};
}

RimFrame RimFrame::Moved(const RimOffset& offset) const {
  const cv::Vec2d shift = shape * cv::Vec2d(offset.shift_x, offset.shift_y);
  const cv::Matx22d stretch(1.0 + offset.size + offset.oval_c,
                            offset.oval_s,
                            offset.oval_s,
                            1.0 + offset.size - offset.oval_c);
  return {{centre.x + shift[0], centre.y + shift[1]}, Symmetric(shape * stretch)};
}

RimFrame RimFrame::Sized(double factor) const { return {centre, shape * factor}; }

RimFrame RimFrame::Reduced(double factor) const {
  const double half = 0.5 * (factor - 1.0);
  return {{(centre.x - half) / factor, (centre.y - half) / factor}, shape * (1.0 / factor)};
}

RimFrame RimFrame::Enlarged(double factor) const {
  const double half = 0.5 * (factor - 1.0);
  return {{centre.x * factor + half, centre.y * factor + half}, shape * factor};
}

Ellipse RimFrame::ToEllipse() const {
  const double mean = 0.5 * (shape(0, 0) + shape(1, 1));
  const double half = 0.5 * (shape(0, 0) - shape(1, 1));
  const double spread = std::hypot(half, shape(0, 1));
  double angle_deg = 0.5 * std::atan2(shape(0, 1), half) * 180.0 / CV_PI;
  if (angle_deg < 0.0) angle_deg += 180.0;
  if (angle_deg >= 180.0) angle_deg -= 180.0;
  return {centre, mean + spread, mean - spread, angle_deg};
}

}  // namespace endgrade::locate
