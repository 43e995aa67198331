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

// Squared distance from the centre along a row of pixels.
class RowDistance {
 public:
  RowDistance(const Scale& scale, cv::Point first)
      : m_(scale.um_from_px),
        dy_(static_cast<float>(first.y - scale.centre_px.y)),
        left_(static_cast<float>(first.x - scale.centre_px.x)) {}

  // The columns of `width` whose squared distance is below `squared_um2`: one run, as the distance
  // falls and rises again along a row.
  [[nodiscard]] cv::Range Within(float squared_um2, int width) const {
    const float a = m_(0, 0) * m_(0, 0) + m_(1, 0) * m_(1, 0);
    const float b = (m_(0, 0) * m_(0, 1) + m_(1, 0) * m_(1, 1)) * dy_;
    const float nearest = -b / a;  // dx where the row is nearest to the centre
    const float lowest = At(nearest);
    if (!(lowest < squared_um2)) return {0, 0};
    const float reach = std::sqrt((squared_um2 - lowest) / a);
    // Roots are rounded: the pixels themselves decide, one by one, at either end.
    const auto bounded = [&](float dx) { return std::clamp(cvRound(dx - left_), 0, width - 1); };
    int start = bounded(nearest - reach);
    int end = bounded(nearest + reach);
    while (start > 0 && IsWithin(start - 1, squared_um2)) --start;
    while (start < width && !IsWithin(start, squared_um2) && start <= end) ++start;
    while (end + 1 < width && IsWithin(end + 1, squared_um2)) ++end;
    while (end >= start && !IsWithin(end, squared_um2)) --end;
    return {start, std::max(start, end + 1)};
  }

 private:
  [[nodiscard]] float At(float dx) const {
    const float x_um = m_(0, 0) * dx + m_(0, 1) * dy_;
    const float y_um = m_(1, 0) * dx + m_(1, 1) * dy_;
    return x_um * x_um + y_um * y_um;
  }
  [[nodiscard]] bool IsWithin(int column, float squared_um2) const {
    return At(left_ + static_cast<float>(column)) < squared_um2;
  }

  cv::Matx22f m_;
  float dy_;
  float left_;
};

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

  std::vector<std::int64_t> count(limits.zones.size(), 0);
  for (int y = 0; y < map.roi_px.height; ++y) {
    const RowDistance row(scale, map.roi_px.tl() + cv::Point(0, y));
    auto* label = map.labels.ptr<std::uint8_t>(y);
    // From the outermost zone inwards: each is drawn over the middle of the one around it.
    for (size_t i = limits.zones.size(); i-- > 0;) {
      const double diameter_um = limits.zones[i].outer_diameter_um;
      const cv::Range inside =
          row.Within(static_cast<float>(0.25 * diameter_um * diameter_um), map.roi_px.width);
      if (inside.empty()) break;
      std::fill(label + inside.start, label + inside.end, static_cast<std::uint8_t>(i));
      count[i] += inside.size();
      if (i + 1 < count.size()) count[i + 1] -= inside.size();
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
