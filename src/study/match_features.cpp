#include "study/match_features.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace endgrade::study {
namespace {

using summary::Mark;
using Marks = std::vector<Mark>;

constexpr std::size_t kMostMarks = 40;
constexpr double kReach_um = 4;
constexpr double kReachOfDiameter = 0.25;
constexpr double kLeastRadius_um = 15;  // nearer the centre a mark does not tell an angle
constexpr int kTurnMustGain = 2;

Marks Largest(Marks marks) {
  std::stable_sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) {
    return a.diameter_um > b.diameter_um;
  });
  if (marks.size() > kMostMarks) marks.resize(kMostMarks);
  return marks;
}

Marks Turned(Marks marks, double angle) {
  for (Mark& mark : marks) {
    const double x = mark.x_um * std::cos(angle) - mark.y_um * std::sin(angle);
    mark.y_um = mark.x_um * std::sin(angle) + mark.y_um * std::cos(angle);
    mark.x_um = x;
  }
  return marks;
}

// For each mark of `from` the index of the same in `to`. Nearest pairs first, each mark once.
std::vector<std::optional<std::size_t>> Pairs(const Marks& from, const Marks& to) {
  struct Pair {
    double distance;
    std::size_t from, to;
  };
  std::vector<Pair> near;
  for (std::size_t i = 0; i < from.size(); ++i) {
    for (std::size_t j = 0; j < to.size(); ++j) {
      if (from[i].scratch != to[j].scratch) continue;
      const double distance = std::hypot(from[i].x_um - to[j].x_um, from[i].y_um - to[j].y_um);
      const double diameter = std::max(from[i].diameter_um, to[j].diameter_um);
      if (distance <= std::max(kReach_um, kReachOfDiameter * diameter)) {
        near.push_back({distance, i, j});
      }
    }
  }
  std::stable_sort(near.begin(), near.end(), [](const Pair& a, const Pair& b) {
    return a.distance < b.distance;
  });
  std::vector<std::optional<std::size_t>> pairs(from.size());
  std::vector<bool> taken(to.size(), false);
  for (const Pair& pair : near) {
    if (pairs[pair.from] || taken[pair.to]) continue;
    pairs[pair.from] = pair.to;
    taken[pair.to] = true;
  }
  return pairs;
}

int CountOf(const std::vector<std::optional<std::size_t>>& pairs) {
  return static_cast<int>(
      std::count_if(pairs.begin(), pairs.end(), [](const auto& pair) { return pair.has_value(); }));
}

// `marks` turned as `reference` has them.
Marks Aligned(const Marks& reference, const Marks& marks) {
  Marks best = marks;
  int best_count = CountOf(Pairs(reference, marks)) + kTurnMustGain - 1;
  for (const Mark& a : reference) {
    for (const Mark& b : marks) {
      const double radius = std::hypot(a.x_um, a.y_um);
      if (radius < kLeastRadius_um || a.scratch != b.scratch ||
          std::abs(radius - std::hypot(b.x_um, b.y_um)) > kReach_um) {
        continue;
      }
      const double angle = std::atan2(a.y_um, a.x_um) - std::atan2(b.y_um, b.x_um);
      Marks turned = Turned(marks, angle);
      const int count = CountOf(Pairs(reference, turned));
      if (count > best_count) {
        best = std::move(turned);
        best_count = count;
      }
    }
  }
  return best;
}

}  // namespace

std::vector<MatchedFeature> MatchFeatures(const std::vector<Marks>& photographs) {
  if (photographs.size() < 2) return {};
  const Marks reference = Largest(photographs.front());
  std::vector<MatchedFeature> features(reference.size());
  for (std::size_t i = 0; i < reference.size(); ++i) {
    features[i].scratch = reference[i].scratch;
    features[i].sizes_um.push_back(reference[i].size_um);
  }
  for (std::size_t p = 1; p < photographs.size(); ++p) {
    const Marks marks = Aligned(reference, Largest(photographs[p]));
    const auto pairs = Pairs(reference, marks);
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      if (pairs[i]) features[i].sizes_um.push_back(marks[*pairs[i]].size_um);
    }
  }
  std::erase_if(features, [&](const MatchedFeature& feature) {
    return feature.sizes_um.size() != photographs.size();
  });
  return features;
}

}  // namespace endgrade::study
