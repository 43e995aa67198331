// Step 8, Feature[] + Limits + quality -> Grade: pass, fail or ungradable, rule by rule.
#pragma once

#include "endgrade/camera.h"
#include "endgrade/limits.h"
#include "endgrade/locate.h"
#include "endgrade/measure.h"
#include "endgrade/reason.h"
#include "endgrade/scale.h"
#include "endgrade/sight.h"

#include <opencv2/core.hpp>

#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// Written to records; do not rename.
enum class Verdict { kPass, kFail, kUngradable };

// `kSimple` reports marginal beside the verdict. `kGuarded` (JCGM 106:2012, guarded acceptance,
// 8.3.2) accepts a rule only when it holds for every size within its expanded uncertainty: measured
// + U <= limit. What it does not accept is a fail with reason "guard_band", even where the picture
// could not have passed for other reasons.
enum class DecisionRule { kSimple, kGuarded };

struct JudgeOptions {
  DecisionRule decision = DecisionRule::kSimple;

  // Least share of a ruled zone's area that must lie inside the picture for a pass. 0.995 forgives
  // a pixel row lost to the border. Range [0.5, 1].
  double min_in_view_fraction = 0.995;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

// By the sizes as measured. Uncertainty moves every size on its own, within size +/- U (k = 2); the
// kind and the zone of a feature are taken as they are.
struct RuleOutcome {
  int rule = 0;  // index into limits.rules
  int found = 0;
  bool met = true;
  bool marginal = false;  // would change within the features' uncertainty
};

struct FibreGrade {
  FibreGeometry geometry;
  Scale scale;
  std::vector<ZoneSight> zones;  // by limits.zones
  std::vector<Feature> features;
  std::vector<RuleOutcome> rules;  // by limits.rules
  Verdict verdict = Verdict::kUngradable;
};

struct StepTimes {
  double read_ms = 0, locate_ms = 0, lay_ms = 0, flatten_ms = 0, detect_ms = 0, measure_ms = 0,
         judge_ms = 0, total_ms = 0;
};

struct Grade {
  Verdict verdict = Verdict::kUngradable;
  bool marginal = false;
  std::vector<Reason> reasons;     // why not pass: broken rules, or why it cannot be graded
  std::vector<Reason> warnings;    // the picture contradicts the limits, a marginal rule, ...
  std::vector<FibreGrade> fibres;  // one, or none when no fibre was found
  Quality quality;
  StepTimes times;
  std::optional<CameraUse> camera;  // what a camera profile did to the picture, if there is one
};

// Applies every rule to the features and decides. Sets `breaks` on the features: all that a broken
// rule counts, also where only their number is too large.
//
// Fails when a rule is broken by what is seen. Of a poor picture (focus, noise, haze, clipping)
// only what it cannot have made up counts: features well above the noise whose size breaks the rule
// whatever their uncertainty and the picture's smear. Passes only when no rule
// is broken and nothing forbids it: every zone with a rule that can be broken is in view, what must
// be seen there would have been, no step before found a problem, no feature could be larger than
// seen and break a rule, and neither scale nor core contradicts the limits. Else ungradable. What
// is missing, or not a number, counts against a pass.
//
//   features  measured, any order; zone = innermost touched, -1 outside all
//   sight     by limits.zones
//   returns   the fibre's grade with every rule's outcome; texts say what to do next
[[nodiscard]] Grade Judge(FibreGeometry geometry,
                          Scale scale,
                          std::vector<Feature> features,
                          std::vector<ZoneSight> sight,
                          Quality quality,
                          const Limits& limits,
                          const JudgeOptions& options = {});

// The grade of a picture without a fibre.
[[nodiscard]] Grade JudgeNoFibre(Reason reason, Quality quality);

}  // namespace endgrade
