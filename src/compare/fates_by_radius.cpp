#include "compare/fates.h"

#include <algorithm>
#include <cmath>

namespace endgrade::compare {
namespace {

constexpr double kRadius_um = 1.5;  // two places' distances from the centre
constexpr double kRadiusOfSize = 0.15;
constexpr double kSizeRatio = 1.6;
constexpr double kSizeSlack_um = 1.5;
constexpr double kSureSnr = 8.0;  // in its own picture, for one that the other must show
constexpr double kLeastInView = 0.995;

double RadiusOf(const Feature& feature) {
  return std::hypot(feature.centre_um.x, feature.centre_um.y);
}

bool CouldBeSame(const Feature& a, const Feature& b) {
  if (a.kind != b.kind || a.contrast_peak * b.contrast_peak < 0) return false;
  if (a.kind == FeatureKind::kScratch) {
    // The distance of a scratch's middle depends on how much of it is seen.
    return a.zone == b.zone;
  }
  const double small = std::min(a.diameter_enclosing_um, b.diameter_enclosing_um);
  const double large = std::max(a.diameter_enclosing_um, b.diameter_enclosing_um);
  return large <= kSizeRatio * small + kSizeSlack_um &&
         std::abs(RadiusOf(a) - RadiusOf(b)) <= kRadius_um + kRadiusOfSize * small;
}

// Whether the other picture would have shown it, wherever in its zone it lies.
bool WouldShow(const Feature& feature, const FibreGrade& other, double stated_contrast) {
  if (feature.zone < 0 || feature.zone >= static_cast<int>(other.zones.size())) return false;
  const ZoneSight& sight = other.zones[static_cast<std::size_t>(feature.zone)];
  const auto& smallest = feature.kind == FeatureKind::kScratch ? sight.smallest_visible_scratch_um
                                                               : sight.smallest_visible_um;
  return sight.in_view_fraction >= kLeastInView && smallest && feature.size_um >= *smallest &&
         std::abs(feature.contrast_peak) >= stated_contrast && feature.snr >= kSureSnr;
}

FeatureFate Alone(Fate if_absent, bool shows, const char* other) {
  FeatureFate fate;
  fate.by_radius = true;
  fate.fate = shows ? if_absent : Fate::kCannotTell;
  fate.words = shows
                   ? std::string("nothing like it at its distance from the centre in the ") + other
                   : std::string("the ") + other + " need not have shown it";
  return fate;
}

}  // namespace

std::vector<FeatureFate> FatesByRadius(const Attempt& before, const Attempt& after) {
  const FibreGrade& was = before.grade.fibres.front();
  const FibreGrade& is = after.grade.fibres.front();
  struct Pair {
    double off;
    std::size_t i, j;
  };
  std::vector<Pair> pairs;
  for (std::size_t i = 0; i < was.features.size(); ++i) {
    for (std::size_t j = 0; j < is.features.size(); ++j) {
      const Feature& a = was.features[i];
      const Feature& b = is.features[j];
      if (!CouldBeSame(a, b)) continue;
      const double off = std::abs(RadiusOf(a) - RadiusOf(b)) + std::abs(a.size_um - b.size_um);
      pairs.push_back({off, i, j});
    }
  }
  std::stable_sort(
      pairs.begin(), pairs.end(), [](const Pair& a, const Pair& b) { return a.off < b.off; });
  std::vector<FeatureFate> fates(was.features.size());
  std::vector<bool> matched(was.features.size(), false);
  std::vector<bool> taken(is.features.size(), false);
  for (const Pair& pair : pairs) {
    if (matched[pair.i] || taken[pair.j]) continue;
    matched[pair.i] = true;
    taken[pair.j] = true;
    FeatureFate& fate = fates[pair.i];
    fate.fate = Fate::kStillThere;
    fate.after = pair.j;
    fate.by_radius = true;
    fate.words = "one of its size and kind at the same distance from the centre";
  }
  for (std::size_t i = 0; i < fates.size(); ++i) {
    if (!matched[i]) {
      fates[i] = Alone(Fate::kGone,
                       WouldShow(was.features[i], is, after.grade.quality.stated_contrast),
                       "photograph after");
    }
    fates[i].before = i;
  }
  for (std::size_t j = 0; j < is.features.size(); ++j) {
    if (taken[j]) continue;
    fates.push_back(Alone(Fate::kNew,
                          WouldShow(is.features[j], was, before.grade.quality.stated_contrast),
                          "photograph before"));
    fates.back().after = j;
  }
  return fates;
}

}  // namespace endgrade::compare
