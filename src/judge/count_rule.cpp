#include "judge/count_rule.h"

#include "limits/size_range.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// Half as much again as the search's own threshold: our choice.
constexpr double kPlainSnr = 8.0;

SizeRange Interval(double from_um, std::optional<double> to_um) {
  SizeRange interval;
  interval.from_um = std::max(from_um, 0.0);
  interval.to_um = to_um;
  return interval;
}

bool IsInItsZone(const Rule& rule, const Limits& limits, const Feature& feature) {
  if (feature.zone < 0 || static_cast<size_t>(feature.zone) >= limits.zones.size()) return false;
  return rule.zone == limits.zones[static_cast<size_t>(feature.zone)].name;
}

}  // namespace

bool HasUsableSize(const Feature& feature) {
  return std::isfinite(feature.size_um) && feature.size_um >= 0 &&
         std::isfinite(feature.size_uncertainty_um) && feature.size_uncertainty_um >= 0;
}

RuleCount CountRule(const Rule& rule,
                    const Limits& limits,
                    const std::vector<Feature>& features,
                    double smear_um) {
  RuleCount count;
  for (size_t i = 0; i < features.size(); ++i) {
    const Feature& feature = features[i];
    if (!IsInItsZone(rule, limits, feature)) continue;
    if (!rule.LooksAt(feature.kind)) {
      const bool counts = feature.may_be_lint && rule.LooksAt(FeatureKind::kDefect) &&
                          rule.size.Contains(feature.diameter_enclosing_um);
      if (counts) ++count.may_be_lint;
      continue;
    }
    const double size_um = feature.size_um;
    if (rule.size.Contains(size_um)) {
      ++count.found;
      count.in_range.push_back(i);
    }
    const bool usable = HasUsableSize(feature);
    const double doubt_um = usable ? feature.size_uncertainty_um : 0.0;
    const SizeRange measured = Interval(size_um - doubt_um, size_um + doubt_um);
    const bool touches = usable && Overlap(measured, rule.size);
    if (touches) {
      ++count.most;
      count.may_be_one_more = count.may_be_one_more || feature.may_hide_another;
      count.touching.push_back(i);
      if (Holds(rule.size, measured)) ++count.least;
      const bool plain = feature.snr >= kPlainSnr && rule.size.Contains(size_um);
      if (plain) ++count.plain;
      // A larger one would break this rule or a stricter one.
      const double at_least_um = std::max(0.0, size_um - doubt_um - smear_um);
      if (plain && at_least_um >= rule.size.from_um.value_or(0.0)) ++count.beyond_doubt;
    }
    const bool open_ended = feature.cut_by_frame && feature.kind == FeatureKind::kDefect;
    const bool may_touch =
        !usable || (open_ended && Overlap(Interval(size_um - doubt_um, {}), rule.size));
    if (touches || may_touch) ++count.most_unseen;
    if (may_touch && !(usable && rule.size.Contains(size_um))) count.unseen.push_back(i);
  }
  return count;
}

}  // namespace endgrade
