// The true verdict, and whether an honest grader could come to another one.
#include "render/truth.h"

#include <algorithm>
#include <cmath>

namespace endgrade::render {
namespace {

// A size within this of a rule's edge is borderline: twice what the engine is asked to reach for
// defects (0.6 um mean error would be beaten half the time), and its own figure for widths.
constexpr double kDefectMargin_um = 1.0;
constexpr double kDefectMarginRelative = 0.08;
constexpr double kScratchMargin_um = 0.9;
constexpr double kScratchMarginRelative = 0.15;
// Faint wide patches have no certain edge, and may fall into pieces.
constexpr double kFilmLeastShare = 0.5;
constexpr double kRidgesLeastShare = 0.2;
// A feature whose innermost point is this near to a zone's border may belong to either side.
constexpr double kZoneMargin_um = 0.8;
// Below this signal-to-noise a feature may honestly be missed.
constexpr double kSureSnr = 12;
// Shape alone tells a scratch from a thin fibre or a crack: lines narrower than this may be either.
constexpr double kThinLine_um = 6;
constexpr double kLeastLineRatio = 5;

double LeastSize(const TrueFeature& f) {
  if (f.shape == FeatureShape::kFilm || f.shape == FeatureShape::kDroplet) {
    return kFilmLeastShare * f.size_um;
  }
  if (f.shape == FeatureShape::kFingerprint) return kRidgesLeastShare * f.size_um;
  const double margin = f.is_scratch
                            ? std::max(kScratchMargin_um, kScratchMarginRelative * f.size_um)
                            : std::max(kDefectMargin_um, kDefectMarginRelative * f.size_um);
  return std::max(0.1, f.size_um - margin);
}

double MostSize(const TrueFeature& f) {
  return f.size_um + (f.is_scratch ? std::max(kScratchMargin_um, kScratchMarginRelative * f.size_um)
                                   : std::max(kDefectMargin_um, kDefectMarginRelative * f.size_um));
}

std::vector<std::string> ZonesNear(const TrueFeature& f, const RuleTable& table) {
  std::vector<std::string> zones;
  for (const double r : {f.radius_inner_um,
                         std::max(0.0, f.radius_inner_um - kZoneMargin_um),
                         f.radius_inner_um + kZoneMargin_um}) {
    const std::string zone = table.ZoneAt(r);
    if (std::find(zones.begin(), zones.end(), zone) == zones.end()) zones.push_back(zone);
  }
  return zones;
}

// Size as the other kind, where the shape leaves the kind open.
std::optional<double> SizeAsOther(const TrueFeature& f) {
  if (!f.width_um || !f.length_um) return std::nullopt;
  const bool long_enough = *f.length_um >= kLeastLineRatio * *f.width_um;
  if (f.is_scratch) {
    return long_enough ? std::nullopt : std::optional(f.diameter_enclosing_um);
  }
  return *f.width_um < kThinLine_um && long_enough ? f.width_um : std::nullopt;
}

std::vector<Candidate> Candidates(const TrueFeature& f,
                                  const std::vector<TrueFeature>& all,
                                  const RuleTable& table) {
  std::vector<Candidate> list;
  for (const std::string& zone : ZonesNear(f, table)) {
    for (const double size : {f.size_um, LeastSize(f), MostSize(f)}) {
      list.push_back({f.is_scratch, size, zone, true});
    }
    if (const auto other = SizeAsOther(f)) {
      list.push_back({!f.is_scratch, *other + kScratchMargin_um, zone, true});
      list.push_back({!f.is_scratch, std::max(0.1, *other - kScratchMargin_um), zone, true});
    }
  }
  if (f.snr < kSureSnr) list.push_back({f.is_scratch, f.size_um, f.zone, false});
  for (const int id : f.touches) {
    const TrueFeature& other = all[static_cast<size_t>(id - 1)];
    if (f.is_scratch) continue;
    // Taken with its neighbour as one: gone into the larger of the two, or larger by the smaller.
    const bool smaller = std::pair(f.size_um, f.id) < std::pair(other.size_um, other.id);
    if (other.is_scratch || smaller) list.push_back({false, f.size_um, f.zone, false});
    if (!other.is_scratch) list.push_back({false, f.size_um + other.size_um, f.zone, true});
  }
  return list;
}

void NoteBorderline(SceneTruth& truth, const RuleTable& table) {
  for (const TrueFeature& f : truth.features) {
    const std::string name = "feature " + std::to_string(f.id) + " ";
    if (f.snr < kSureSnr) truth.borderline_because.push_back(name + "may not be seen");
    if (ZonesNear(f, table).size() > 1) {
      truth.borderline_because.push_back(name + "is near a zone's border");
    }
    if (SizeAsOther(f)) truth.borderline_because.push_back(name + "could be of either kind");
    if (!f.touches.empty()) truth.borderline_because.push_back(name + "touches another");
  }
  if (truth.borderline_because.empty()) {
    truth.borderline_because.emplace_back("a size or a count is near a rule's edge");
  }
}

std::vector<std::string> Acceptable(const SceneTruth& truth, const TableVerdict& verdict) {
  const std::string self = verdict.fails ? "fail" : "pass";
  const std::string other = verdict.fails ? "pass" : "fail";
  const bool either = verdict.could_pass && verdict.could_fail;
  if (truth.gradable == Gradable::kNo) {
    if (!verdict.could_pass) return {"fail", "ungradable"};
    if (verdict.could_fail) return {"ungradable", "fail"};
    return {"ungradable"};
  }
  std::vector<std::string> list{self};
  if (truth.gradable == Gradable::kUncertain) list.emplace_back("ungradable");
  if (either) list.push_back(other);
  return list;
}

}  // namespace

bool CouldFail(std::vector<TrueFeature> features, const RuleTable& table) {
  std::vector<std::vector<Candidate>> candidates;
  for (TrueFeature& feature : features) {
    feature.snr = 2 * kSureSnr;
    candidates.push_back(Candidates(feature, features, table));
  }
  return ApplyTable(table, candidates).could_fail;
}

void JudgeFace(const SceneDescription& scene, const RuleTable& table, SceneTruth& truth) {
  std::vector<std::vector<Candidate>> candidates;
  if (scene.fibre.present) {
    for (const TrueFeature& feature : truth.features) {
      candidates.push_back(Candidates(feature, truth.features, table));
    }
  }
  const TableVerdict verdict = ApplyTable(table, candidates);
  truth.face_verdict = verdict.fails ? TrueVerdict::kFail : TrueVerdict::kPass;
  truth.broken = verdict.broken;
  const bool either = verdict.could_pass && verdict.could_fail;
  truth.borderline = either || truth.gradable == Gradable::kUncertain;
  if (either) NoteBorderline(truth, table);
  for (const std::string& why : truth.ungradable_because) {
    if (truth.gradable == Gradable::kUncertain) truth.borderline_because.push_back(why);
  }
  truth.acceptable = Acceptable(truth, verdict);
}

}  // namespace endgrade::render
