// Is the measurement good enough? The same faces, photographed again and again.
#pragma once

#include "lot/settings.h"
#include "statistics/gauge.h"
#include "statistics/kappa.h"
#include "store/store.h"
#include "summary/faces.h"

#include <optional>
#include <string>
#include <vector>

namespace endgrade::study {

// One rater's photographs of all faces.
struct RaterAgreement {
  std::string rater;
  int num_faces = 0;
  int num_same = 0;               // faces on which all of the rater's verdicts are the same
  statistics::Interval interval;  // Wilson, 95 %
};

struct SizeStudy {
  bool scratch = false;
  int num_features = 0;  // that every photograph of their face shows
  double tolerance_um = 0;
  std::optional<statistics::GaugeStudy> gauge;
  std::string why_not;  // where there is no gauge study
};

struct FaceVerdicts {
  std::string face;
  std::vector<std::string> verdicts;  // by rater, then trial
  int num_features = 0;               // matched
};

struct StudyResult {
  std::vector<std::string> raters;
  int trials = 0;
  std::vector<FaceVerdicts> faces;  // that are complete
  std::vector<RaterAgreement> within;
  std::optional<statistics::Agreement> agreement;  // of all photographs of a face
  std::string why_no_agreement;
  std::vector<SizeStudy> sizes;    // defects, then scratches
  std::vector<std::string> notes;  // what was left out and why
};

// Faces count when every rater has the same number of photographs of them.
//
//   tolerance_um   for both kinds of feature; empty: the smallest size of its kind of which the
//                  limits allow none
[[nodiscard]] Result<StudyResult> Evaluate(const store::Store& store,
                                           const lot::Settings& settings,
                                           std::optional<double> tolerance_um);

[[nodiscard]] std::string StudyText(const StudyResult& study);  // for a terminal; lines
[[nodiscard]] std::string StudyJson(const StudyResult& study);  // schema "endgrade.study/1"

}  // namespace endgrade::study
