#include "endgrade/limits.h"

#include "limits/check_rules.h"

#include <algorithm>

namespace endgrade {

bool SizeRange::Contains(double size_um) const {
  if (from_um && (from_open ? !(size_um > *from_um) : !(size_um >= *from_um))) return false;
  if (to_um && (to_open ? !(size_um < *to_um) : !(size_um <= *to_um))) return false;
  return true;
}

bool Rule::LooksAt(FeatureKind feature) const {
  if (kind == RuleKind::kAny) return true;
  return (kind == RuleKind::kScratch) == (feature == FeatureKind::kScratch);
}

double Limits::RuledDiameter() const {
  double diameter_um = 0;
  for (const Rule& rule : rules) {
    const Zone* zone = FindZone(rule.zone);
    if (zone && rule.CanBreak()) diameter_um = std::max(diameter_um, zone->outer_diameter_um);
  }
  return diameter_um;
}

const Zone* Limits::FindZone(const std::string& name) const {
  const auto is_it = [&name](const Zone& zone) { return zone.name == name; };
  const auto found = std::find_if(zones.begin(), zones.end(), is_it);
  return found == zones.end() ? nullptr : &*found;
}

std::optional<double> Limits::MustSee(size_t zone, FeatureKind kind) const {
  const Zone& z = zones.at(zone);
  std::optional<double> least;
  for (const Rule& rule : rules) {
    if (rule.zone != z.name || !rule.CanBreak() || !rule.LooksAt(kind)) continue;
    const double from = std::max(rule.size.from_um.value_or(0.0), kLeastMustSee_um);
    least = std::min(from, least.value_or(from));
  }
  if (!least) return std::nullopt;
  const auto& stated = kind == FeatureKind::kScratch ? z.must_see_scratch_um : z.must_see_defect_um;
  return stated ? stated : least;
}

std::optional<std::string> Limits::Problem() const {
  for (const LimitsFinding& finding : FindInLimits(*this)) {
    if (!finding.is_error) continue;
    return finding.what + (finding.remedy.empty() ? "" : ". " + finding.remedy);
  }
  return std::nullopt;
}

}  // namespace endgrade
