// Coordinates and ellipses. Pixel coordinates: x right, y down, the centre of the top-left pixel
// is (0, 0). End-face coordinates in micrometres: origin at the cladding centre, same axes.
#pragma once

#include <opencv2/core.hpp>

namespace endgrade {

// An ellipse in the picture. The angle is that of the major axis, from +x towards +y (clockwise
// as seen), in [0, 180) degrees. Extents run to the edge itself, not to pixel centres.
struct Ellipse {
  cv::Point2d centre_px;
  double semi_major_px = 0;
  double semi_minor_px = 0;
  double angle_deg = 0;

  // Radius of the circle of the same area.
  [[nodiscard]] double MeanRadius() const;

  // The symmetric matrix that takes (p - centre_px) onto the unit circle: |m * d| == 1 on the rim.
  // It stretches along the axes only and rotates nothing.
  [[nodiscard]] cv::Matx22d ToUnitCircle() const;

  // |ToUnitCircle() * (p - centre_px)|: 1 on the rim, less inside.
  [[nodiscard]] double NormalisedRadius(cv::Point2d p_px) const;

  // The point on the rim that ToUnitCircle() takes to (cos, sin) of `angle_rad`.
  [[nodiscard]] cv::Point2d RimPoint(double angle_rad) const;
};

}  // namespace endgrade
