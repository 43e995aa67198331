// How a core's edge departs from the circle that was located: by a fraction of a cell, which along
// an edge as steep as a core's is many times the noise.
#pragma once

#include "flatten/polar_samples.h"

#include <functional>

namespace endgrade {

// Offset of the edge by direction, um: the centre's error and what is left of an ellipse.
struct EdgeShape {
  double along_x = 0;
  double along_y = 0;
  double oval_x = 0;   // times the cosine of twice the angle
  double oval_xy = 0;  // times its sine

  // `direction`: unit vector.
  [[nodiscard]] double At(cv::Point2d direction) const {
    const double c = direction.x;
    const double s = direction.y;
    return along_x * c + along_y * s + oval_x * (c * c - s * s) + oval_xy * 2.0 * s * c;
  }
};

struct EdgeInputs {
  const PolarSamples& samples;                // about the located centre
  std::function<double(double)> by_radius;    // brightness by distance, um
  std::function<double(cv::Point2d)> uneven;  // light to take off a place first
  double from_um = 0;                         // where the edge is
  double to_um = 0;
  double most_um = 0;  // no offset is believed beyond this
};

// Robust fit of the offsets: a speck on the edge does not bend it. All zero where there is no edge
// to speak of, or where the fit asks for more than `most_um`.
[[nodiscard]] EdgeShape FitEdgeShape(const EdgeInputs& in);

}  // namespace endgrade
