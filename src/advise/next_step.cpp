#include "endgrade/advice.h"

#include <algorithm>
#include <cassert>

namespace endgrade {
namespace {

bool Fits(const AdviceLine& line, const Situation& situation) {
  return line.verdict == situation.verdict && (!line.left || *line.left == situation.left) &&
         (!line.num_cleanings_from || situation.num_cleanings >= *line.num_cleanings_from) &&
         (!line.cleanings_spent || situation.num_cleanings >= situation.max_cleanings);
}

const Track* TrackOf(const Comparison& comparison, std::size_t attempt, std::size_t feature) {
  for (const Track& track : comparison.tracks) {
    if (attempt < track.steps.size() && track.steps[attempt].feature == feature) return &track;
  }
  return nullptr;
}

bool IsPermanent(const Feature& feature, const Track& track) {
  const int proof = feature.kind == FeatureKind::kScratch ? 1 : kCleaningsThatProve;
  return track.likely_permanent && !track.by_radius && track.num_survived >= proof;
}

}  // namespace

Advice NextStep(const AdviceTable& table, const Situation& situation) {
  const auto line = std::find_if(table.lines.begin(), table.lines.end(), [&](const auto& each) {
    return Fits(each, situation);
  });
  assert(line != table.lines.end());  // ReadAdvice saw to it
  return {line->id, line->action, line->say, line->source, line->certainty, table.safety};
}

Situation SituationOf(const std::vector<Attempt>& attempts,
                      const Limits& limits,
                      const Comparison* comparison) {
  Situation situation;
  situation.max_cleanings = limits.max_cleanings;
  if (attempts.empty()) return situation;
  situation.verdict = attempts.back().grade.verdict;
  situation.num_cleanings = static_cast<int>(attempts.size()) - 1;
  if (situation.verdict != Verdict::kFail || !comparison) return situation;
  const std::size_t last = attempts.size() - 1;
  bool all_permanent = true;
  bool any_new = false;
  int num_breaking = 0;
  const auto& features = attempts.back().grade.fibres.front().features;
  for (std::size_t i = 0; i < features.size(); ++i) {
    if (features[i].breaks.empty()) continue;
    ++num_breaking;
    const Track* track = TrackOf(*comparison, last, i);
    if (!track || !IsPermanent(features[i], *track)) all_permanent = false;
    if (track && track->FirstSeen() == last && track->fate == Fate::kNew) any_new = true;
  }
  if (num_breaking > 0 && all_permanent) {
    situation.left = Left::kPermanent;
  } else if (any_new) {
    situation.left = Left::kNew;
  }
  return situation;
}

const char* RecordWord(NextAction action) {
  switch (action) {
    case NextAction::kPhotographAgain:
      return "photograph_again";
    case NextAction::kCleanDry:
      return "clean_dry";
    case NextAction::kCleanWetThenDry:
      return "clean_wet_then_dry";
    case NextAction::kInspectMate:
      return "inspect_mate";
    case NextAction::kStop:
      break;
  }
  return "stop";
}

const char* ActionWords(NextAction action) {
  switch (action) {
    case NextAction::kPhotographAgain:
      return "take the photograph again";
    case NextAction::kCleanDry:
      return "clean dry";
    case NextAction::kCleanWetThenDry:
      return "clean wet, then dry";
    case NextAction::kInspectMate:
      return "inspect the mating side";
    case NextAction::kStop:
      break;
  }
  return "stop: set aside, re-polish or replace";
}

const char* RecordWord(Left left) {
  switch (left) {
    case Left::kPermanent:
      return "permanent";
    case Left::kNew:
      return "new";
    case Left::kRemovable:
      break;
  }
  return "removable";
}

}  // namespace endgrade
