#include "endgrade/judge.h"

#include "judge/count_rule.h"
#include "judge/pass_conditions.h"
#include "judge/reach_outward.h"
#include "judge/words.h"
#include "limits/size_range.h"

#include <algorithm>
#include <utility>

namespace endgrade {
namespace {

// Sizes named beside a broken rule: enough to see which, not a list of dust.
constexpr size_t kMostSizesNamed = 3;

// What the rules say, before the picture's quality is asked.
struct RuleFindings {
  std::vector<Reason> fail;
  std::vector<Reason> marginal;
  std::vector<Reason> forbid;
  bool any_marginal = false;
  bool all_broken_marginal = true;
  bool any_plain = false;         // a rule is broken by what stands well above the noise
  bool any_beyond_doubt = false;  // and by its size however blurred the picture
};

std::string Capitalised(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 32);
  return text;
}

std::string AllowedWords(const Rule& rule) {
  return *rule.allowed == 0 ? "none allowed"
                            : "at most " + std::to_string(*rule.allowed) + " allowed";
}

// "Zone B, cladding: 2 defects over 5 um".
std::string RuleHead(const Rule& rule, const Limits& limits, int count) {
  const Zone* zone = limits.FindZone(rule.zone);
  return Capitalised(zone ? ZoneWords(*zone) : "zone " + rule.zone) + ": " +
         CountWords(count, rule.kind) +
         (rule.size.from_um || rule.size.to_um ? " " + SizeWords(rule.size) : "");
}

// "(7.2 and 5.6 um)": the sizes that break a rule, or the largest of many.
std::string Sizes(const Rule& rule,
                  const std::vector<size_t>& which,
                  const std::vector<Feature>& features) {
  std::vector<double> sizes_um;
  sizes_um.reserve(which.size());
  for (const size_t i : which) sizes_um.push_back(features[i].size_um);
  std::sort(sizes_um.rbegin(), sizes_um.rend());
  if (sizes_um.size() > kMostSizesNamed) {
    return " (the largest " + SizeBeside(sizes_um.front(), rule.size) + " um)";
  }
  std::vector<std::string> words;
  words.reserve(sizes_um.size());
  for (const double size_um : sizes_um) words.push_back(SizeBeside(size_um, rule.size));
  return " (" + Joined(words) + " um)";
}

std::string MarginalText(const Rule& rule, const Limits& limits, const RuleCount& count, bool met) {
  const int other = met ? count.most : count.least;
  return RuleHead(rule, limits, count.found) + " as measured, but " +
         (met ? "as many as " : "as few as ") + std::to_string(other) +
         " within the uncertainty of their sizes; " + AllowedWords(rule) +
         ". A picture at higher magnification would settle it.";
}

// Why a rule that holds by what is seen may be broken by what is not.
Reason UnseenReason(const Rule& rule,
                    const RuleCount& count,
                    const std::vector<Feature>& features) {
  const bool unsized = std::any_of(count.unseen.begin(), count.unseen.end(), [&](size_t i) {
    return !HasUsableSize(features[i]);
  });
  const std::string rule_words = "the rule \"" + RuleWords(rule) + "\" of zone " + rule.zone;
  if (unsized) {
    return {"size_unknown",
            "A feature whose size could not be measured may break " + rule_words +
                ". Take the picture again."};
  }
  return {"feature_cut_off",
          "A defect that runs out of the picture may be larger than what is seen of it and break " +
              rule_words + ". Move the fibre to the middle of the picture, or lower the " +
              "magnification."};
}

// A count at its limit, where one scratch stops at another or has a faint mark at its side: one
// more may run beneath it.
Reason HiddenReason(const Rule& rule, const Limits& limits, const RuleCount& count) {
  return {"scratches_overlap",
          RuleHead(rule, limits, count.found) + ", " + AllowedWords(rule) +
              ", and one stops at another or has a faint mark at its side: there may be one more "
              "beneath. "
              "Light from another side, or a higher magnification, would settle it."};
}

// A count of scratches at its limit, in pixels so coarse that one more which crosses them is lost.
Reason CoarseCountReason(const Rule& rule, const Limits& limits, const RuleCount& count) {
  return {"too_coarse",
          RuleHead(rule, limits, count.found) + ", " + AllowedWords(rule) +
              "; in pixels this large a faint one that crosses them may not be seen. A picture at "
              "higher magnification would settle it."};
}

// A strip that is allowed as a scratch and would not be as a defect.
Reason LintReason(const Rule& rule) {
  return {"scratch_or_lint",
          "A bright strip in zone " + rule.zone +
              " looks like a scratch but may be lint, which would break the rule \"" +
              RuleWords(rule) + "\". Clean the face and take the picture again: lint goes."};
}

// Marks on the features which rule they break.
void MarkBroken(const Rule& rule,
                const std::vector<size_t>& which,
                std::vector<Feature>& features) {
  for (const size_t i : which) features[i].breaks.push_back(rule.id);
}

// A mark of about two pixels or less is seen, but hardly sized: blur and the grid make one of many.
constexpr double kSizedPixels = 2.2;
// Where as many marks as are allowed have been counted, the size of one more is all that stands
// between a pass and a fail, and of several that could be it one may well be wrong: that asks more.
constexpr double kCountedPixels = 4.0;
// Where pixels are coarser than this, um, the rims of particles are not resolved at all, and stated
// uncertainties held for 60 % of them in tuning pictures, whatever their size. Those of the widths
// of scratches, which are averaged along their length, held for 98 %.
constexpr double kCoarsestUm = 0.9;

// Whether the sizes that the rule tells apart are too few pixels for the measured size, with its
// uncertainty, to be all that stands between a pass and a fail.
bool TooCoarseFor(const Rule& rule, bool at_limit, double um_per_px) {
  const double bound_um =
      rule.size.from_um.value_or(0.0) > 0 ? *rule.size.from_um : rule.size.to_um.value_or(1e9);
  const bool unsized = um_per_px > kCoarsestUm && rule.kind != RuleKind::kScratch;
  return unsized || bound_um < (at_limit ? kCountedPixels : kSizedPixels) * um_per_px;
}

// What the picture is like, as far as it bears on counting.
struct PictureScale {
  double um_per_px = 0;
  double smear_um = 0;
};

RuleOutcome ApplyRule(size_t index,
                      const Limits& limits,
                      const JudgeOptions& options,
                      const PictureScale& picture,
                      std::vector<Feature>& features,
                      RuleFindings& findings) {
  const Rule& rule = limits.rules[index];
  const RuleCount count = CountRule(rule, limits, features, picture.smear_um);
  RuleOutcome outcome;
  outcome.rule = static_cast<int>(index);
  outcome.found = count.found;
  if (!rule.CanBreak()) return outcome;

  const int allowed = *rule.allowed;
  outcome.met = count.found <= allowed;
  outcome.marginal = outcome.met ? count.most > allowed : count.least <= allowed;
  const bool at_limit = allowed > 0 && count.found == allowed;
  if (outcome.marginal) findings.any_marginal = true;

  if (!outcome.met) {
    MarkBroken(rule, count.in_range, features);
    findings.fail.push_back({"rule_broken",
                             RuleHead(rule, limits, count.found) +
                                 Sizes(rule, count.in_range, features) + ", " + AllowedWords(rule) +
                                 "."});
    findings.all_broken_marginal = findings.all_broken_marginal && outcome.marginal;
    if (count.plain > allowed) findings.any_plain = true;
    if (count.beyond_doubt > allowed) findings.any_beyond_doubt = true;
  }
  const bool marginal_pass = outcome.marginal && outcome.met;
  const bool too_coarse = marginal_pass && TooCoarseFor(rule, at_limit, picture.um_per_px);
  if (marginal_pass && options.decision == DecisionRule::kGuarded) {
    MarkBroken(rule, count.touching, features);
    findings.fail.push_back({"guard_band", MarginalText(rule, limits, count, outcome.met)});
  } else if (too_coarse) {
    findings.forbid.push_back({"too_coarse", MarginalText(rule, limits, count, outcome.met)});
  } else if (outcome.marginal) {
    findings.marginal.push_back({"marginal", MarginalText(rule, limits, count, outcome.met)});
  }
  // Where none is allowed and none seen, there is none to hide another.
  if (at_limit && count.may_be_one_more) {
    findings.forbid.push_back(HiddenReason(rule, limits, count));
  } else if (at_limit && !too_coarse && rule.kind == RuleKind::kScratch &&
             picture.um_per_px > kCoarsestUm) {
    findings.forbid.push_back(CoarseCountReason(rule, limits, count));
  }
  if (outcome.met && count.may_be_lint > 0 && count.found + count.may_be_lint > allowed) {
    findings.forbid.push_back(LintReason(rule));
  }
  if (outcome.met && !count.unseen.empty() && count.most_unseen > allowed) {
    findings.forbid.push_back(UnseenReason(rule, count, features));
  }
  return outcome;
}

// Said once, after the last rule that fails.
std::string CleaningAdvice(const Limits& limits) {
  return " Check that the fibre carries no light, clean the face and inspect it again; what " +
         std::to_string(limits.max_cleanings) +
         " cleanings do not remove is damage, and the connector is rejected.";
}

void Append(std::vector<Reason>& to, const std::vector<Reason>& from) {
  to.insert(to.end(), from.begin(), from.end());
}

// Mistakes of a caller: they cannot come from a file that was read or a command line.
void CheckInputs(const std::vector<Feature>& features,
                 const Limits& limits,
                 const JudgeOptions& options,
                 Conditions& conditions) {
  if (const auto problem = limits.Problem()) {
    conditions.forbid.push_back({"bad_limits", "The limits are not fit to grade by: " + *problem});
  }
  if (const auto problem = options.Problem()) conditions.forbid.push_back({"bad_option", *problem});
  for (const Feature& feature : features) {
    if (feature.zone < static_cast<int>(limits.zones.size())) continue;
    conditions.forbid.push_back(
        {"bad_limits", "A feature was measured by other limits than it is judged by."});
    return;
  }
}

}  // namespace

std::optional<std::string> JudgeOptions::Problem() const {
  if (min_in_view_fraction >= 0.5 && min_in_view_fraction <= 1.0) return std::nullopt;
  return "JudgeOptions.min_in_view_fraction = " + Fixed(min_in_view_fraction, 3) +
         ": must be within [0.5, 1]";
}

Grade Judge(FibreGeometry geometry,
            Scale scale,
            std::vector<Feature> features,
            std::vector<ZoneSight> sight,
            Quality quality,
            const Limits& limits,
            const JudgeOptions& options) {
  for (Feature& feature : features) feature.breaks.clear();
  RuleFindings findings;
  FibreGrade fibre;
  for (size_t i = 0; i < limits.rules.size(); ++i) {
    fibre.rules.push_back(
        ApplyRule(i, limits, options, {scale.um_per_px, quality.smear_um}, features, findings));
  }
  Conditions conditions;
  CheckInputs(features, limits, options, conditions);
  CheckScale(scale, conditions);
  CheckFace(geometry, scale, limits, conditions);
  CheckSight(sight, quality, scale, limits, options, conditions);
  Append(conditions.forbid, findings.forbid);
  if (auto reason = ReachesFarOutward(features, limits, scale)) {
    conditions.forbid.push_back(std::move(*reason));
  }

  Grade grade;
  // What a poor picture seems to show is enough for a fail only where the picture cannot have made
  // it up: noise, blur and movement look like dirt too, and so does the core where the view cuts
  // it.
  const bool doubtful = (conditions.middle_cut || (conditions.poor && !findings.any_beyond_doubt) ||
                         (conditions.noisy && !findings.any_plain)) &&
                        options.decision == DecisionRule::kSimple;
  if (!findings.fail.empty() && doubtful) {
    grade.verdict = Verdict::kUngradable;
    grade.reasons = std::move(conditions.forbid);
    for (const Reason& reason : findings.fail) {
      grade.warnings.push_back({"may_be_broken", reason.text});
    }
  } else if (!findings.fail.empty()) {
    grade.verdict = Verdict::kFail;
    grade.marginal = findings.any_marginal && findings.all_broken_marginal;
    findings.fail.back().text += CleaningAdvice(limits);
    grade.reasons = std::move(findings.fail);
    Append(grade.warnings, conditions.forbid);
  } else {
    grade.verdict = conditions.forbid.empty() ? Verdict::kPass : Verdict::kUngradable;
    grade.marginal = findings.any_marginal;
    grade.reasons = std::move(conditions.forbid);
  }
  Append(grade.warnings, findings.marginal);
  Append(grade.warnings, conditions.warn);

  fibre.verdict = grade.verdict;
  fibre.geometry = geometry;
  fibre.scale = std::move(scale);
  fibre.zones = std::move(sight);
  fibre.features = std::move(features);
  grade.fibres.push_back(std::move(fibre));
  grade.quality = std::move(quality);
  return grade;
}

Grade JudgeNoFibre(Reason reason, Quality quality) {
  Grade grade;
  grade.verdict = Verdict::kUngradable;
  grade.reasons.push_back(std::move(reason));
  grade.quality = std::move(quality);
  return grade;
}

}  // namespace endgrade
