#include "compare/fates.h"
#include "compare/range_problem.h"
#include "endgrade/compare.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <numbers>

namespace endgrade {
namespace {

using compare::FatesByPlace;
using compare::FatesByRadius;

bool HasFibre(const Attempt& attempt) { return !attempt.grade.fibres.empty(); }

PairComparison ComparePair(const std::vector<Attempt>& attempts,
                           std::size_t before,
                           std::size_t after,
                           const CompareOptions& options) {
  PairComparison pair;
  pair.before = before;
  pair.after = after;
  const Attempt& a = attempts[before];
  const Attempt& b = attempts[after];
  pair.registration = RegisterAttempts(a, b, options.registration);
  if (!pair.registration.has_fibre) return pair;
  pair.fates = pair.registration.rotation_known ? FatesByPlace(a, b, pair.registration, options)
                                                : FatesByRadius(a, b);
  return pair;
}

// Compares two attempts when they are first asked for; a series asks for few pairs of them.
class Pairs {
 public:
  Pairs(const std::vector<Attempt>& attempts, const CompareOptions& options)
      : attempts_(attempts), options_(options) {}

  const PairComparison& Of(std::size_t before, std::size_t after) {
    const auto key = std::make_pair(before, after);
    const auto found = pairs_.find(key);
    if (found != pairs_.end()) return found->second;
    return pairs_.emplace(key, ComparePair(attempts_, before, after, options_)).first->second;
  }

 private:
  const std::vector<Attempt>& attempts_;
  const CompareOptions& options_;
  std::map<std::pair<std::size_t, std::size_t>, PairComparison> pairs_;
};

// What all steps together say.
void Conclude(Track* track) {
  track->fate = Fate::kNew;
  track->num_survived = 0;
  for (std::size_t k = track->FirstSeen(); k < track->steps.size(); ++k) {
    const auto& fate = track->steps[k].fate;
    if (!fate) continue;
    track->fate = *fate;
    if (*fate == Fate::kGone) break;
    if (*fate == Fate::kStillThere) ++track->num_survived;
    if (*fate == Fate::kMoved) track->num_survived = 0;  // what moves is loose
  }
  track->likely_permanent = track->fate == Fate::kStillThere && track->num_survived > 0;
}

// Follows every feature from the attempt that last found it to the next one.
class Tracker {
 public:
  Tracker(const std::vector<Attempt>& attempts, Pairs& pairs)
      : attempts_(attempts), pairs_(pairs) {}

  std::vector<Track> Follow() {
    for (std::size_t k = 0; k < attempts_.size(); ++k) {
      if (HasFibre(attempts_[k])) {
        Continue(k);
      } else {
        LeaveOut(k);
      }
    }
    for (std::size_t i = 0; i < tracks_.size(); ++i) {
      tracks_[i].id = static_cast<int>(i) + 1;
      Conclude(&tracks_[i]);
    }
    return std::move(tracks_);
  }

 private:
  void Extend(std::size_t k) {
    for (Track& track : tracks_) track.steps.resize(k + 1);
  }

  // A photograph without a fibre says nothing of anything.
  void LeaveOut(std::size_t k) {
    std::vector<bool> open;
    for (const Track& track : tracks_) open.push_back(IsOpenAt(track, k));
    Extend(k);
    for (std::size_t i = 0; i < tracks_.size(); ++i) {
      if (open[i]) tracks_[i].steps[k] = {std::nullopt, Fate::kCannotTell, "no fibre was found"};
    }
  }

  // Still of interest at attempt k: not gone by the attempt before.
  static bool IsOpenAt(const Track& track, std::size_t k) {
    for (std::size_t i = 0; i < k && i < track.steps.size(); ++i) {
      if (track.steps[i].fate == Fate::kGone) return false;
    }
    return true;
  }

  void Continue(std::size_t k) {
    std::vector<bool> open;
    for (const Track& track : tracks_) open.push_back(IsOpenAt(track, k));
    Extend(k);
    const std::size_t num_features = attempts_[k].grade.fibres.front().features.size();
    std::vector<bool> known(num_features, false);
    std::vector<std::optional<FeatureFate>> born(num_features);
    for (std::size_t i = 0; i < tracks_.size(); ++i) {
      if (open[i]) StepTo(k, i, known);
    }
    // What no track leads to is new, or was there unseen, as the attempt before it says.
    const auto earlier = Earlier(k);
    if (earlier) {
      for (const FeatureFate& fate : pairs_.Of(*earlier, k).fates) {
        if (fate.after && !fate.before) born[*fate.after] = fate;
      }
    }
    for (std::size_t j = 0; j < num_features; ++j) {
      if (!known[j]) Begin(k, j, earlier.has_value(), born[j]);
    }
  }

  std::optional<std::size_t> Earlier(std::size_t k) const {
    while (k-- > 0) {
      if (HasFibre(attempts_[k])) return k;
    }
    return std::nullopt;
  }

  void StepTo(std::size_t k, std::size_t i, std::vector<bool>& known) {
    Track& track = tracks_[i];
    const std::size_t from = track.LastSeen();
    const std::size_t feature = *track.steps[from].feature;
    for (const FeatureFate& fate : pairs_.Of(from, k).fates) {
      if (fate.before != feature) continue;
      TrackStep& step = track.steps[k];
      step.fate = fate.fate;
      step.words = fate.words;
      track.by_radius = track.by_radius || fate.by_radius;
      if (fate.after && !known[*fate.after]) {
        known[*fate.after] = true;
        step.feature = fate.after;
      }
      return;
    }
  }

  void Begin(std::size_t k,
             std::size_t j,
             bool has_earlier,
             const std::optional<FeatureFate>& born) {
    Track track;
    track.steps.resize(k + 1);
    track.steps[k].feature = j;
    if (has_earlier) {
      track.steps[k].fate = born ? born->fate : Fate::kNew;
      track.steps[k].words = born ? born->words : "not there before";
      track.by_radius = born && born->by_radius;
    }
    tracks_.push_back(std::move(track));
  }

  const std::vector<Attempt>& attempts_;
  Pairs& pairs_;
  std::vector<Track> tracks_;
};

cv::Matx33d ToBefore(const Registration& r) {
  const cv::Point2d zero = r.ToBefore({0, 0});
  const cv::Point2d x = r.ToBefore({1, 0}) - zero;
  const cv::Point2d y = r.ToBefore({0, 1}) - zero;
  return {x.x, y.x, zero.x, x.y, y.y, zero.y, 0, 0, 1};
}

}  // namespace

Comparison UpToAttempt(const Comparison& comparison, std::size_t last) {
  Comparison part;
  for (const PairComparison& pair : comparison.pairs) {
    if (pair.after <= last) part.pairs.push_back(pair);
  }
  part.to_first.assign(comparison.to_first.begin(),
                       comparison.to_first.begin() + static_cast<std::ptrdiff_t>(last) + 1);
  for (const Track& whole : comparison.tracks) {
    if (whole.FirstSeen() > last) continue;
    Track track = whole;
    track.steps.resize(last + 1);
    Conclude(&track);
    part.tracks.push_back(std::move(track));
  }
  return part;
}

std::size_t Track::FirstSeen() const {
  const auto seen = std::find_if(
      steps.begin(), steps.end(), [](const TrackStep& step) { return step.feature.has_value(); });
  return static_cast<std::size_t>(seen - steps.begin());
}

std::size_t Track::LastSeen() const {
  const auto seen = std::find_if(
      steps.rbegin(), steps.rend(), [](const TrackStep& step) { return step.feature.has_value(); });
  return static_cast<std::size_t>(steps.rend() - seen) - 1;
}

std::optional<std::string> CompareOptions::Problem() const {
  if (auto problem = registration.Problem()) return problem;
  if (auto problem = RangeProblem("CompareOptions.would_show_sigma", would_show_sigma, 2, 20))
    return problem;
  if (auto problem = RangeProblem("CompareOptions.gone_below", gone_below, 0.1, 0.9))
    return problem;
  return RangeProblem("CompareOptions.farthest_move_um", farthest_move_um, 0, 100);
}

Result<Comparison> CompareAttempts(const std::vector<Attempt>& attempts,
                                   const CompareOptions& options) {
  if (auto problem = options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  }
  if (attempts.size() < 2) {
    return Error{ErrorKind::kBadOption,
                 "",
                 0,
                 "a comparison needs two photographs or more",
                 "Name the photograph before and the one after"};
  }
  Pairs pairs(attempts, options);
  Comparison comparison;
  comparison.to_first.push_back(cv::Matx23d(1, 0, 0, 0, 1, 0));
  cv::Matx33d way = cv::Matx33d::eye();
  bool known = HasFibre(attempts.front());
  if (!known) comparison.to_first.front().reset();
  for (std::size_t k = 1; k < attempts.size(); ++k) {
    comparison.pairs.push_back(pairs.Of(k - 1, k));
    known = known && comparison.pairs.back().registration.rotation_known;
    comparison.to_first.emplace_back();
    if (!known) continue;
    way = way * ToBefore(comparison.pairs.back().registration);
    comparison.to_first.back() = way.get_minor<2, 3>(0, 0);
  }
  comparison.tracks = Tracker(attempts, pairs).Follow();
  return comparison;
}

const char* RecordWord(Fate fate) {
  switch (fate) {
    case Fate::kStillThere:
      return "still_there";
    case Fate::kGone:
      return "gone";
    case Fate::kMoved:
      return "moved";
    case Fate::kNew:
      return "new";
    case Fate::kCannotTell:
      break;
  }
  return "cannot_tell";
}

const char* FateWords(Fate fate) {
  switch (fate) {
    case Fate::kStillThere:
      return "still there";
    case Fate::kGone:
      return "gone";
    case Fate::kMoved:
      return "moved or smeared";
    case Fate::kNew:
      return "new";
    case Fate::kCannotTell:
      break;
  }
  return "cannot tell";
}

}  // namespace endgrade
