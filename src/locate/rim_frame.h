// The shape that locating works in: an ellipse as the picture of the unit circle.
#pragma once

#include "endgrade/geometry.h"

#include <opencv2/core.hpp>

namespace endgrade::locate {

// How far a rim lies outside (+) or inside (-) of an ellipse, as a share of its radius, by angle t:
// size + shift_x cos t + shift_y sin t + oval_c cos 2t + oval_s sin 2t.
struct RimOffset {
  double size = 0;
  double shift_x = 0;
  double shift_y = 0;
  double oval_c = 0;
  double oval_s = 0;

  [[nodiscard]] double At(double cos_t, double sin_t) const {
    return size + shift_x * cos_t + shift_y * sin_t + oval_c * (cos_t * cos_t - sin_t * sin_t) +
           oval_s * 2.0 * cos_t * sin_t;
  }
};

// p = centre + shape * (cos t, sin t). `shape` is symmetric: it stretches and rotates nothing.
struct RimFrame {
  cv::Point2d centre;
  cv::Matx22d shape = cv::Matx22d::eye();

  [[nodiscard]] static RimFrame Circle(cv::Point2d centre, double radius);
  [[nodiscard]] double Radius() const;  // of the circle of the same area
  [[nodiscard]] cv::Point2d At(double cos_t, double sin_t, double rho) const;

  // Exact to first order in the offsets, which a few rounds of fitting take to nothing.
  [[nodiscard]] RimFrame Moved(const RimOffset& offset) const;
  [[nodiscard]] RimFrame Sized(double factor) const;

  // In the pixels of a level that averages `factor` x `factor` pixels of this one.
  [[nodiscard]] RimFrame Reduced(double factor) const;
  [[nodiscard]] RimFrame Enlarged(double factor) const;

  [[nodiscard]] Ellipse ToEllipse() const;
};

}  // namespace endgrade::locate
