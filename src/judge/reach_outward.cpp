#include "judge/reach_outward.h"

#include "limits/size_range.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <string>

namespace endgrade {
namespace {

constexpr double kTimes = 3.0;  // what the outer zone allows; our choice

bool HasLimitFor(const Feature& feature, const Limits& limits, const std::string& zone) {
  return std::any_of(limits.rules.begin(), limits.rules.end(), [&](const Rule& rule) {
    return rule.zone == zone && rule.LooksAt(feature.kind) && rule.CanBreak();
  });
}

// Diameter, um, of the circle around what of the outline lies between these radii.
double SizeBetween(const Feature& feature, const Scale& scale, double from_um, double to_um) {
  std::vector<cv::Point2f> beyond;
  for (const cv::Point2d& px : feature.outline_px) {
    const cv::Point2d um = scale.ToUm(px);
    const double radius = std::hypot(um.x, um.y);
    if (radius > from_um && radius < to_um) beyond.emplace_back(um);
  }
  if (beyond.size() < 2) return 0.0;
  cv::Point2f centre;
  float radius = 0;
  cv::minEnclosingCircle(beyond, centre, radius);
  return 2.0 * static_cast<double>(radius);
}

Reason Said(const Zone& own, const Rule& rule, double size_um) {
  char text[48];
  std::snprintf(text, sizeof text, "%.0f um", size_um);
  return {"reaches_outward",
          "A defect that touches zone " + own.name + ", where any is allowed, reaches over " +
              text + " of zone " + rule.zone + ", where the rule is \"" + RuleWords(rule) +
              "\": it may be two. Clean the face and take the picture again."};
}

}  // namespace

std::optional<Reason> ReachesFarOutward(const std::vector<Feature>& features,
                                        const Limits& limits,
                                        const Scale& scale) {
  for (const Feature& feature : features) {
    const bool defect = feature.kind == FeatureKind::kDefect;
    if (!defect || feature.zone < 0 || feature.zone >= static_cast<int>(limits.zones.size())) {
      continue;
    }
    const Zone& own = limits.zones[static_cast<size_t>(feature.zone)];
    if (HasLimitFor(feature, limits, own.name)) continue;
    for (const Rule& rule : limits.rules) {
      const bool none = rule.allowed && *rule.allowed == 0 && rule.size.from_um;
      if (!none || !rule.LooksAt(feature.kind)) continue;
      const auto zone = std::find_if(limits.zones.begin(), limits.zones.end(), [&](const Zone& z) {
        return z.name == rule.zone;
      });
      if (zone == limits.zones.end() || zone->inner_diameter_um < own.outer_diameter_um) continue;
      const double size =
          SizeBetween(feature, scale, 0.5 * zone->inner_diameter_um, 0.5 * zone->outer_diameter_um);
      if (size > kTimes * *rule.size.from_um) return Said(own, rule, size);
    }
  }
  return std::nullopt;
}

}  // namespace endgrade
