#include "endgrade/lay.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// Pixels that the ellipse {p : |um_from_px (p - centre)| <= radius_um} reaches, not yet clipped to
// the picture. The half extents of |m d| <= r are r * sqrt of the diagonal of (m^T m)^-1.
cv::Rect Extent(const Scale& scale, double radius_um) {
  const cv::Matx22d spread = (scale.um_from_px.t() * scale.um_from_px).inv();
  const double half_x = radius_um * std::sqrt(spread(0, 0));
  const double half_y = radius_um * std::sqrt(spread(1, 1));
  const int left = static_cast<int>(std::floor(scale.centre_px.x - half_x));
  const int top = static_cast<int>(std::floor(scale.centre_px.y - half_y));
  const int right = static_cast<int>(std::ceil(scale.centre_px.x + half_x));
  const int bottom = static_cast<int>(std::ceil(scale.centre_px.y + half_y));
  return {left, top, right - left + 1, bottom - top + 1};
}

double AreaPx(const Zone& zone, const Scale& scale) {
  const double outer = 0.5 * zone.outer_diameter_um;
  const double inner = 0.5 * zone.inner_diameter_um;
  return CV_PI * (outer * outer - inner * inner) / (scale.um_per_px * scale.um_per_px);
}

}  // namespace

int ZoneAt(const Limits& limits, double radius_um) {
  for (size_t i = 0; i < limits.zones.size(); ++i) {
    if (2.0 * radius_um < limits.zones[i].outer_diameter_um) {
      return 2.0 * radius_um >= limits.zones[i].inner_diameter_um ? static_cast<int>(i) : -1;
    }
  }
  return -1;
}

ZoneMap LayZones(cv::Size picture, const Scale& scale, const Limits& limits) {
  ZoneMap map;
  map.in_view_fraction.assign(limits.zones.size(), 0.0);
  if (limits.zones.empty()) return map;

  const cv::Rect frame(cv::Point(0, 0), picture);
  const double outer_um = 0.5 * limits.zones.back().outer_diameter_um;
  map.outer_um = outer_um;
  map.roi_px = Extent(scale, outer_um) & frame;
  map.labels = cv::Mat(map.roi_px.size(), CV_8UC1, cv::Scalar(ZoneMap::kOutside));

  // Squared distances against squared borders: no root a pixel.
  std::vector<float> borders = {0.0F};
  for (const Zone& zone : limits.zones) {
    borders.push_back(static_cast<float>(0.25 * zone.outer_diameter_um * zone.outer_diameter_um));
  }
  std::vector<std::int64_t> count(limits.zones.size(), 0);
  const cv::Matx22f m(scale.um_from_px);
  for (int row = 0; row < map.roi_px.height; ++row) {
    auto* label = map.labels.ptr<std::uint8_t>(row);
    const auto dy = static_cast<float>(map.roi_px.y + row - scale.centre_px.y);
    const auto left = static_cast<float>(map.roi_px.x - scale.centre_px.x);
    for (int column = 0; column < map.roi_px.width; ++column) {
      const float dx = left + static_cast<float>(column);
      const float x_um = m(0, 0) * dx + m(0, 1) * dy;
      const float y_um = m(1, 0) * dx + m(1, 1) * dy;
      const float squared = x_um * x_um + y_um * y_um;
      size_t zone = 0;
      while (zone < limits.zones.size() && squared >= borders[zone + 1]) ++zone;
      if (zone == limits.zones.size()) continue;
      label[column] = static_cast<std::uint8_t>(zone);
      ++count[zone];
    }
  }
  for (size_t i = 0; i < limits.zones.size(); ++i) {
    const cv::Rect extent = Extent(scale, 0.5 * limits.zones[i].outer_diameter_um);
    const bool whole = (extent & frame) == extent;
    const double area = AreaPx(limits.zones[i], scale);
    map.in_view_fraction[i] =
        whole ? 1.0 : std::min(1.0, static_cast<double>(count[i]) / std::max(area, 1.0));
  }
  return map;
}

}  // namespace endgrade
