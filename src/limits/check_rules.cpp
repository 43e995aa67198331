#include "limits/check_rules.h"

#include "limits/size_range.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <optional>

namespace endgrade {
namespace {

// A ferrule is 2.5 mm across (IEC 61754 series, from memory); nothing lies outside it.
constexpr double kFerruleDiameter_um = 2500.0;
// The zone map counts zones in one byte and keeps a value for "outside".
constexpr size_t kMostZones = 32;
// Far above any table; keeps a hostile file from costing time.
constexpr size_t kMostRules = 500;

constexpr LimitsPlace kFile{LimitsPlace::Of::kFile, 0};
constexpr LimitsPlace kFibre{LimitsPlace::Of::kFibre, 0};
constexpr LimitsPlace AtZone(size_t index) { return {LimitsPlace::Of::kZone, index}; }
constexpr LimitsPlace AtRule(size_t index) { return {LimitsPlace::Of::kRule, index}; }

constexpr FeatureKind kKinds[] = {FeatureKind::kScratch, FeatureKind::kDefect};

std::string KindWords(FeatureKind kind) {
  return kind == FeatureKind::kScratch ? "scratches" : "defects";
}

class Checker {
 public:
  explicit Checker(const Limits& limits) : limits_(limits) {}

  std::vector<LimitsFinding> Run() {
    if (limits_.zones.size() > kMostZones) {
      Say({true, AtZone(kMostZones), "more than " + std::to_string(kMostZones) + " zones", ""});
      return std::move(findings_);
    }
    if (limits_.rules.size() > kMostRules) {
      Say({true, AtRule(kMostRules), "more than " + std::to_string(kMostRules) + " rules", ""});
      return std::move(findings_);
    }
    CheckFibre();
    CheckZones();
    CheckRuleNames();
    // A rule that is about no zone would also show as a gap in the zone that it was meant for.
    if (!rules_have_zones_) return std::move(findings_);
    for (size_t zone = 0; zone < limits_.zones.size(); ++zone) {
      for (const FeatureKind kind : kKinds) {
        CheckCover(zone, kind);
        CheckMustSee(zone, kind);
      }
      CheckOverlaps(zone);
      CheckOrder(zone);
    }
    if (std::none_of(limits_.rules.begin(), limits_.rules.end(), [](const Rule& rule) {
          return rule.CanBreak();
        })) {
      Say({true,
           kFile,
           "no rule that a face could break, so every face would pass",
           R"(Give at least one rule allowed = "none" or a number)"});
    }
    return std::move(findings_);
  }

 private:
  void Say(LimitsFinding finding) { findings_.push_back(std::move(finding)); }

  void CheckFibre() {
    const FibreType& fibre = limits_.fibre;
    const double cladding = fibre.cladding_diameter_um;
    if (!(cladding >= 10 && cladding <= 1000)) {
      Say({true, kFibre, "the cladding's diameter must be from 10 to 1000 um", ""});
    }
    if (!(fibre.cladding_tolerance_um >= 0 && fibre.cladding_tolerance_um <= 0.1 * cladding)) {
      Say({true, kFibre, "the cladding's tolerance must be from 0 to a tenth of its diameter", ""});
    }
    for (const double core : fibre.core_diameters_um) {
      if (core > 0 && core < cladding) continue;
      Say({true, kFibre, "a core's diameter must be more than 0 and less than the cladding's", ""});
    }
    if (!(fibre.polish_angle_deg >= 0 && fibre.polish_angle_deg <= 45)) {
      Say({true, kFibre, "the polish angle must be from 0 to 45 degrees", ""});
    }
    if (limits_.max_cleanings < 1) {
      Say({true, kFibre, "the most attempts at cleaning must be 1 or more", ""});
    }
  }

  void CheckZones() {
    const auto& zones = limits_.zones;
    if (zones.empty()) {
      Say({true, kFile, "no zones", "Write a [[zone]] for each ring, from the core outwards"});
      return;
    }
    std::map<std::string, size_t> seen;
    double border_um = 0;
    for (size_t i = 0; i < zones.size(); ++i) {
      if (!seen.emplace(zones[i].name, i).second) {
        Say({true,
             AtZone(i),
             "a second zone " + zones[i].name,
             "Give every zone a name of its own"});
      }
      CheckBorders(i, border_um);
      border_um = zones[i].outer_diameter_um;
    }
    if (border_um <= limits_.fibre.cladding_diameter_um) {
      Say({false,
           AtZone(zones.size() - 1),
           "the outermost zone ends at " + NumberWords(border_um) + " um, within the cladding's " +
               NumberWords(limits_.fibre.cladding_diameter_um) + " um",
           "Borders are diameters: if these are radii, double them"});
    }
  }

  void CheckBorders(size_t i, double border_um) {
    const Zone& zone = limits_.zones[i];
    const std::string name = "zone " + zone.name;
    if (zone.inner_diameter_um != border_um) {
      Say({true,
           AtZone(i),
           name + " starts at " + NumberWords(zone.inner_diameter_um) + " um, expected " +
               NumberWords(border_um) + " um",
           i == 0 ? "The first zone starts at the centre"
                  : "Each zone starts where the one inside it ends"});
    }
    if (!(zone.outer_diameter_um > zone.inner_diameter_um)) {
      Say({true,
           AtZone(i),
           name + " must end further out than it starts",
           "Write diameters_um = [inner, outer]"});
    }
    if (!(zone.outer_diameter_um <= kFerruleDiameter_um)) {
      Say({true,
           AtZone(i),
           name + " ends outside the ferrule, at more than " + NumberWords(kFerruleDiameter_um) +
               " um",
           "Write diameters in micrometres"});
    }
  }

  void CheckRuleNames() {
    std::map<std::string, size_t> seen;
    for (size_t i = 0; i < limits_.rules.size(); ++i) {
      const Rule& rule = limits_.rules[i];
      if (!seen.emplace(rule.id, i).second) {
        Say({true,
             AtRule(i),
             "a second rule with the id \"" + rule.id + "\"",
             "Give every rule an id of its own"});
      }
      if (!limits_.FindZone(rule.zone)) {
        rules_have_zones_ = false;
        Say({true,
             AtRule(i),
             "rule \"" + rule.id + "\" is about zone \"" + rule.zone + "\", " +
                 "which there is not; expected " + ZoneNames(),
             ""});
      }
      if (rule.allowed && *rule.allowed < 0) {
        Say({true, AtRule(i), "rule \"" + rule.id + "\" allows fewer than none", ""});
      }
      if (!(LowerCut(rule.size) < UpperCut(rule.size)) || LowerCut(rule.size) < Cut{}) {
        Say({true, AtRule(i), "rule \"" + rule.id + "\" has a range that holds no size", ""});
      }
    }
  }

  std::string ZoneNames() const {
    std::string names;
    for (const Zone& zone : limits_.zones) names += (names.empty() ? "" : ", ") + zone.name;
    return names.empty() ? "a [[zone]] of that name" : names;
  }

  // Indices of the rules of a zone for which `take` says so, smallest sizes first.
  template <typename Predicate>
  std::vector<size_t> RulesBySize(size_t zone, const Predicate& take) const {
    std::vector<size_t> found;
    for (size_t i = 0; i < limits_.rules.size(); ++i) {
      const Rule& rule = limits_.rules[i];
      if (rule.zone == limits_.zones[zone].name && take(rule)) found.push_back(i);
    }
    std::stable_sort(found.begin(), found.end(), [this](size_t a, size_t b) {
      return LowerCut(limits_.rules[a].size) < LowerCut(limits_.rules[b].size);
    });
    return found;
  }

  void CheckCover(size_t zone, FeatureKind kind) {
    Cut covered;  // every size before this has a rule
    std::optional<size_t> last;
    const auto gap = [&](Cut next) {
      const std::string where = "zone " + limits_.zones[zone].name +
                                ": no rule says what holds for " + KindWords(kind) + " " +
                                SizeWords(Between(covered, next));
      Say({true,
           last ? AtRule(*last) : AtZone(zone),
           where,
           R"(Write a rule for them; allowed = "no limit" if any number may be there)"});
    };
    const auto looks = [kind](const Rule& rule) { return rule.LooksAt(kind); };
    for (const size_t i : RulesBySize(zone, looks)) {
      const SizeRange& size = limits_.rules[i].size;
      if (LowerCut(size) > covered) gap(LowerCut(size));
      covered = std::max(covered, UpperCut(size));
      last = i;
    }
    if (std::isfinite(covered.at_um)) gap(UpperCut({}));
  }

  void CheckOverlaps(size_t zone) {
    const auto rules = RulesBySize(zone, [](const Rule&) { return true; });
    for (size_t a = 0; a < rules.size(); ++a) {
      for (size_t b = a + 1; b < rules.size(); ++b) {
        const auto [first, second] = std::minmax(rules[a], rules[b]);
        CheckOverlap(first, second);
      }
    }
  }

  // Names the overlap at the later of the two in the file.
  void CheckOverlap(size_t first, size_t second) {
    const Rule& a = limits_.rules[first];
    const Rule& b = limits_.rules[second];
    const bool same_kind = a.kind == b.kind;
    if (!same_kind && a.kind != RuleKind::kAny && b.kind != RuleKind::kAny) return;
    if (!Overlap(a.size, b.size)) return;
    const SizeRange both = Between(std::max(LowerCut(a.size), LowerCut(b.size)),
                                   std::min(UpperCut(a.size), UpperCut(b.size)));
    const std::string shared =
        both.from_um || both.to_um ? "sizes " + SizeWords(both) : std::string("all sizes");
    const std::string what = "rules \"" + a.id + "\" and \"" + b.id + "\" both speak of " + shared;
    const Rule& free = a.CanBreak() ? b : a;
    const bool contradict =
        a.CanBreak() != b.CanBreak() && (same_kind || free.kind == RuleKind::kAny);
    if (contradict) {
      Say({true,
           AtRule(second),
           what + ", one with a limit and one without",
           R"(Let the ranges meet without sharing a size, as "< 2" and "2 to 5" do)"});
    } else if (same_kind || (a.CanBreak() && b.CanBreak())) {
      Say({false, AtRule(second), what, "Both must hold; if that is not meant, part the ranges"});
    }
  }

  // Larger features should not be freer than smaller ones.
  void CheckOrder(size_t zone) {
    for (const RuleKind kind : {RuleKind::kScratch, RuleKind::kDefect, RuleKind::kAny}) {
      const auto rules = RulesBySize(zone, [kind](const Rule& rule) { return rule.kind == kind; });
      for (size_t i = 1; i < rules.size(); ++i) {
        const Rule& smaller = limits_.rules[rules[i - 1]];
        const Rule& larger = limits_.rules[rules[i]];
        if (Overlap(smaller.size, larger.size) || !smaller.CanBreak()) continue;
        if (larger.CanBreak() && *larger.allowed <= *smaller.allowed) continue;
        Say({false,
             AtRule(rules[i]),
             "rule \"" + larger.id + "\" allows more than \"" + smaller.id +
                 "\" does of smaller sizes",
             "Check that the two are not swapped"});
      }
    }
  }

  void CheckMustSee(size_t zone, FeatureKind kind) {
    const Zone& z = limits_.zones[zone];
    const auto& stated =
        kind == FeatureKind::kScratch ? z.must_see_scratch_um : z.must_see_defect_um;
    if (stated && !(*stated > 0)) {
      Say({true, AtZone(zone), "zone " + z.name + ": a must-see size must be more than 0 um", ""});
      return;
    }
    std::optional<double> least;
    for (const Rule& rule : limits_.rules) {
      if (rule.zone != z.name || !rule.CanBreak() || !rule.LooksAt(kind)) continue;
      least = std::min(rule.size.from_um.value_or(0.0), least.value_or(kFerruleDiameter_um));
    }
    const std::string who = "zone " + z.name + ", " + KindWords(kind) + ": ";
    if (stated && !least) {
      Say({false,
           AtZone(zone),
           who + "a must-see size where no rule can be broken has no effect",
           ""});
    } else if (stated && *stated > std::max(*least, kLeastMustSee_um)) {
      Say({false,
           AtZone(zone),
           who + "a picture that shows no less than " + NumberWords(*stated) +
               " um may pass, yet smaller ones can break a rule",
           "Lower the must-see size, or leave it out"});
    } else if (!stated && least && *least > 0 && *least < kLeastMustSee_um) {
      Say({false,
           AtZone(zone),
           who + "a rule forbids some from " + NumberWords(*least) +
               " um on, but a picture need only show " + NumberWords(kLeastMustSee_um) + " um",
           "State the must-see size to ask for more"});
    }
  }

  const Limits& limits_;
  std::vector<LimitsFinding> findings_;
  bool rules_have_zones_ = true;
};

}  // namespace

std::vector<LimitsFinding> FindInLimits(const Limits& limits) { return Checker(limits).Run(); }

}  // namespace endgrade
