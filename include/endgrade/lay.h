// Step 4, Scale + Limits -> ZoneMap: which zone each pixel belongs to.
#pragma once

#include "endgrade/limits.h"
#include "endgrade/scale.h"

#include <opencv2/core.hpp>

#include <cstdint>
#include <vector>

namespace endgrade {

struct ZoneMap {
  static constexpr std::uint8_t kOutside = 255;

  cv::Rect roi_px;  // the part of the picture that the zones touch; empty if none is in view
  cv::Mat labels;   // CV_8UC1 of roi_px's size: index into limits.zones, or kOutside

  double outer_um = 0;  // radius of the outermost zone's outer border

  // By zone: the share of the zone's area that lies inside the picture, 0 to 1.
  std::vector<double> in_view_fraction;
};

[[nodiscard]] ZoneMap LayZones(cv::Size picture, const Scale& scale, const Limits& limits);

// Index of the innermost zone that holds a point at `radius_um` from the centre; -1 outside all.
[[nodiscard]] int ZoneAt(const Limits& limits, double radius_um);

}  // namespace endgrade
