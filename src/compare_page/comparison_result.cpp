#include "compare_page/comparison_result.h"

#include "present/words.h"

#include <algorithm>

namespace endgrade::compare_page {

Compared Conclude(const std::vector<Attempt>& attempts,
                  const Limits& limits,
                  const Comparison& comparison,
                  const AdviceTable& table) {
  Compared compared{attempts, limits, comparison, {}, {}};
  for (std::size_t i = 0; i < attempts.size(); ++i) {
    const std::vector<Attempt> so_far(attempts.begin(),
                                      attempts.begin() + static_cast<std::ptrdiff_t>(i) + 1);
    const Comparison part = UpToAttempt(comparison, i);
    compared.situations.push_back(SituationOf(so_far, limits, &part));
    compared.advice.push_back(NextStep(table, compared.situations.back()));
  }
  return compared;
}

std::array<int, kFates.size()> CountFates(const Comparison& comparison) {
  std::array<int, kFates.size()> counts{};
  for (const Track& track : comparison.tracks) {
    for (std::size_t i = 0; i < kFates.size(); ++i) counts[i] += track.fate == kFates[i] ? 1 : 0;
  }
  return counts;
}

const Feature& FeatureOf(const std::vector<Attempt>& attempts, const Track& track) {
  const std::size_t seen = track.LastSeen();
  return attempts[seen].grade.fibres.front().features[*track.steps[seen].feature];
}

std::string ThingWords(const std::vector<Attempt>& attempts,
                       const Limits& limits,
                       const Track& track) {
  const Feature& feature = FeatureOf(attempts, track);
  std::string text = RecordWord(feature.kind);
  text += feature.kind == FeatureKind::kScratch ? ", " + FixedWords(feature.size_um, 1) + " um wide"
                                                : " of " + FixedWords(feature.size_um, 1) + " um";
  if (feature.zone >= 0 && feature.zone < static_cast<int>(limits.zones.size())) {
    text += ", zone " + limits.zones[static_cast<std::size_t>(feature.zone)].name;
  }
  return text;
}

std::string WhyWords(const Track& track) {
  const auto last = std::find_if(track.steps.rbegin(), track.steps.rend(), [](const auto& step) {
    return !step.words.empty();
  });
  return last == track.steps.rend() ? "" : last->words;
}

}  // namespace endgrade::compare_page
