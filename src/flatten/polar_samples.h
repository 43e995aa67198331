// The picture read along circles about a centre: rows are radii, columns are directions.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct PolarSamples {
  static constexpr int kDirections = 256;

  double from_um = 0;
  double step_um = 1;
  int num_radii = 0;
  cv::Point2d centre_um;      // against the cladding's centre
  std::vector<float> values;  // num_radii x kDirections; NaN outside the region

  [[nodiscard]] double Radius(int i) const { return from_um + i * step_um; }
  [[nodiscard]] float At(int radius, int direction) const {
    return values[static_cast<size_t>(radius) * kDirections + static_cast<size_t>(direction)];
  }
  // The sample's place in end-face micrometres from the cladding's centre.
  [[nodiscard]] cv::Point2d PlaceUm(int radius, int direction) const;
};

[[nodiscard]] PolarSamples ReadCircles(const ContrastMap& map,
                                       const Scale& scale,
                                       cv::Point2d centre_um,
                                       double from_um,
                                       double to_um,
                                       double step_um);

}  // namespace endgrade
