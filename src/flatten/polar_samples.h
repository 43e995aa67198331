// The picture read along circles about a centre: rows are radii, columns are directions.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct Circles {
  double from_um = 0;
  double to_um = 0;
  double step_um = 1;
  int num_directions = 256;
};

struct PolarSamples {
  Circles circles;
  int num_radii = 0;
  int num_directions = 0;
  cv::Point2d centre_um;      // against the cladding's centre
  std::vector<float> values;  // num_radii x num_directions; NaN outside the region and where hidden

  [[nodiscard]] double Radius(int i) const { return circles.from_um + i * circles.step_um; }
  [[nodiscard]] size_t IndexOf(int radius, int direction) const {
    return static_cast<size_t>(radius) * static_cast<size_t>(num_directions) +
           static_cast<size_t>(direction);
  }
  [[nodiscard]] float At(int radius, int direction) const {
    return values[IndexOf(radius, direction)];
  }
  // The sample's place in end-face micrometres from the cladding's centre.
  [[nodiscard]] cv::Point2d PlaceUm(int radius, int direction) const {
    return centre_um + directions[static_cast<size_t>(direction)] * Radius(radius);
  }

  std::vector<cv::Point2d> directions;  // unit vectors
};

[[nodiscard]] PolarSamples ReadCircles(const ContrastMap& map,
                                       const Scale& scale,
                                       cv::Point2d centre_um,
                                       const Circles& circles);

}  // namespace endgrade
