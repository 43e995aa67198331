// The parabola that a band of points follows: least squares across one direction.
#pragma once

#include <opencv2/core.hpp>

#include <optional>
#include <vector>

namespace endgrade {

struct Parabola {
  cv::Point2d origin;
  cv::Point2d along;   // unit vector
  cv::Point2d across;  // unit vector, to its left
  double length = 1.0;
  cv::Vec3d bend;  // of the offset across, by powers of the share of the length

  [[nodiscard]] double Along(cv::Point2d p) const { return (p - origin).dot(along); }
  [[nodiscard]] double OffsetAt(double t) const {
    const double share = t / length;
    return cv::Vec3d(1.0, share, share * share).dot(bend);
  }
  [[nodiscard]] cv::Point2d At(double t) const { return origin + along * t + across * OffsetAt(t); }
  // How far to its left a point lies, in the units of the points.
  [[nodiscard]] double Beside(cv::Point2d p) const {
    return (p - origin).dot(across) - OffsetAt(Along(p));
  }
};

// Nothing where the points tell none: fewer than eight, or all in one place.
//
//   along    unit vector: their long direction
//   length   their extent along it
[[nodiscard]] std::optional<Parabola> FitParabola(const std::vector<cv::Point2d>& points,
                                                  cv::Point2d along,
                                                  double length);

}  // namespace endgrade
