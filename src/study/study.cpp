#include "study/study.h"

#include "study/match_features.h"

#include <algorithm>
#include <map>
#include <set>

namespace endgrade::study {
namespace {

using summary::Attempt;
using Trials = std::map<std::string, std::map<int, Attempt>>;  // by rater, by trial
using Faces = std::map<std::string, Trials>;

std::string FaceName(const store::Face& face) {
  std::string name = face.cord;
  if (!face.end.empty()) name += " " + face.end;
  if (face.fibre != 1) name += " fibre " + std::to_string(face.fibre);
  return name;
}

Result<Faces> FacesOf(const store::Store& store,
                      const lot::Settings& settings,
                      std::vector<std::string>* notes) {
  std::set<std::string> keys;
  for (const auto& [kind, limits] : settings.limits) keys.insert(settings.GradeKey(limits));
  Faces faces;
  const auto error = store.ForEach({}, store::RowParts::kNoThumbnail, [&](const store::Row& row) {
    if (!keys.contains(row.grade_key)) return true;
    auto& trials = faces[FaceName(row.face)][row.face.rater];
    const auto [place, is_new] = trials.emplace(row.face.attempt, summary::AttemptOf(row));
    if (is_new || place->second.path == row.path) {
      place->second = summary::AttemptOf(row);
    } else {
      notes->push_back(row.path + ": of the same face, rater and trial as " + place->second.path +
                       "; left out");
    }
    return true;
  });
  if (error) return *error;
  return faces;
}

// What most faces have: raters, and photographs of each.
void FindShape(const Faces& faces, StudyResult* study) {
  std::set<std::string> raters;
  std::map<std::size_t, int> trials;
  for (const auto& [name, by_rater] : faces) {
    for (const auto& [rater, photographs] : by_rater) {
      raters.insert(rater);
      ++trials[photographs.size()];
    }
  }
  study->raters.assign(raters.begin(), raters.end());
  int most = 0;
  for (const auto& [count, times] : trials) {
    if (times < most) continue;
    most = times;
    study->trials = static_cast<int>(count);
  }
}

void DropIncomplete(Faces* faces, StudyResult* study) {
  std::erase_if(*faces, [&](const auto& entry) {
    const Trials& by_rater = entry.second;
    const bool complete = by_rater.size() == study->raters.size() &&
                          std::all_of(by_rater.begin(), by_rater.end(), [&](const auto& rater) {
                            return static_cast<int>(rater.second.size()) == study->trials;
                          });
    if (!complete) {
      study->notes.push_back(entry.first + ": not every person or camera has " +
                             std::to_string(study->trials) + " photographs of it; left out");
    }
    return !complete;
  });
}

void RateAgreement(const Faces& faces, StudyResult* study) {
  const std::vector<std::string> classes = {"pass", "fail", "ungradable", "unreadable"};
  std::vector<std::vector<int>> counts;
  std::map<std::string, RaterAgreement> within;
  for (const auto& [name, by_rater] : faces) {
    std::vector<int> row(classes.size(), 0);
    for (const auto& [rater, trials] : by_rater) {
      std::set<std::string> verdicts;
      for (const auto& [trial, attempt] : trials) {
        const auto place = std::find(classes.begin(), classes.end(), attempt.verdict);
        if (place != classes.end()) ++row[static_cast<std::size_t>(place - classes.begin())];
        verdicts.insert(attempt.verdict);
      }
      RaterAgreement& own = within[rater];
      own.rater = rater;
      ++own.num_faces;
      if (verdicts.size() == 1) ++own.num_same;
    }
    counts.push_back(std::move(row));
  }
  for (auto& [rater, own] : within) {
    own.interval = statistics::WilsonInterval(own.num_same, own.num_faces);
    study->within.push_back(own);
  }
  auto agreement = statistics::FleissAgreement(counts);
  if (agreement.ok()) {
    study->agreement = *agreement;
  } else {
    study->why_no_agreement = agreement.error().Text();
  }
}

// The smallest size of which a rule allows none at all; of "none of any size" nothing follows.
std::optional<double> ToleranceOf(const lot::Settings& settings, FeatureKind kind) {
  std::optional<double> least;
  for (const auto& [name, limits] : settings.limits) {
    for (const Rule& rule : limits.rules) {
      if (!rule.LooksAt(kind) || rule.allowed != 0 || !rule.size.from_um) continue;
      const double from = *rule.size.from_um;
      if (from > 0 && (!least || from < *least)) least = from;
    }
  }
  return least;
}

SizeStudy SizesOf(const std::vector<MatchedFeature>& features,
                  bool scratch,
                  std::size_t raters,
                  std::size_t trials,
                  std::optional<double> tolerance_um) {
  SizeStudy sizes;
  sizes.scratch = scratch;
  statistics::GaugeValues values;
  for (const MatchedFeature& feature : features) {
    if (feature.scratch != scratch) continue;
    std::vector<std::vector<double>> part(raters);
    for (std::size_t i = 0; i < feature.sizes_um.size(); ++i) {
      part[i / trials].push_back(feature.sizes_um[i]);
    }
    values.push_back(std::move(part));
  }
  sizes.num_features = static_cast<int>(values.size());
  sizes.tolerance_um = tolerance_um.value_or(0);
  auto gauge = statistics::StudyGauge(values);
  if (gauge.ok()) {
    sizes.gauge = *gauge;
  } else {
    sizes.why_not = gauge.error().what;
  }
  return sizes;
}

std::vector<MatchedFeature> MatchAll(const Faces& faces, StudyResult* study) {
  std::vector<MatchedFeature> all;
  for (const auto& [name, by_rater] : faces) {
    FaceVerdicts face{name, {}, 0};
    std::vector<std::vector<summary::Mark>> photographs;
    for (const auto& [rater, trials] : by_rater) {
      for (const auto& [trial, attempt] : trials) {
        face.verdicts.push_back(attempt.verdict);
        photographs.push_back(attempt.marks);
      }
    }
    const auto matched = MatchFeatures(photographs);
    face.num_features = static_cast<int>(matched.size());
    all.insert(all.end(), matched.begin(), matched.end());
    study->faces.push_back(std::move(face));
  }
  return all;
}

}  // namespace

Result<StudyResult> Evaluate(const store::Store& store,
                             const lot::Settings& settings,
                             std::optional<double> tolerance_um) {
  StudyResult study;
  auto faces = FacesOf(store, settings, &study.notes);
  if (!faces.ok()) return faces.error();
  FindShape(*faces, &study);
  DropIncomplete(&*faces, &study);
  RateAgreement(*faces, &study);
  const auto features = MatchAll(*faces, &study);
  for (const bool scratch : {false, true}) {
    const auto kind = scratch ? FeatureKind::kScratch : FeatureKind::kDefect;
    study.sizes.push_back(SizesOf(features,
                                  scratch,
                                  study.raters.size(),
                                  static_cast<std::size_t>(std::max(1, study.trials)),
                                  tolerance_um ? tolerance_um : ToleranceOf(settings, kind)));
  }
  return study;
}

}  // namespace endgrade::study
