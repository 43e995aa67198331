#include "judge/words.h"

#include "endgrade/explain.h"
#include "limits/size_range.h"
#include "present/escape.h"
#include "present/words.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

const Feature& FeatureOf(const GradedPicture& picture, const Evidence& evidence) {
  return picture.grade.fibres.front().features[evidence.feature];
}

std::string Um(double value, int decimals = 1) { return FixedWords(value, decimals) + " um"; }

std::string Levels(double value) {
  return FixedWords(std::abs(value), std::abs(value) < 10 ? 1 : 0) + " grey levels";
}

std::string FoundWords(const Evidence& evidence, const Feature& feature, bool is_line) {
  const std::string way = feature.contrast_peak < 0 ? "darker" : "brighter";
  const std::string share = FixedWords(100 * std::abs(feature.contrast_peak), 0) + " % " + way +
                            " than the clean face (" + Levels(evidence.depth) + ")";
  const std::string limit = "The threshold is " + FixedWords(evidence.threshold_sigma, 1) + ".";
  if (is_line) {
    return "Found: as a line, " + share + ". Added up along its " +
           Um(feature.length_um.value_or(0), 0) + " it stands out by " +
           FixedWords(feature.snr, 1) + " times its noise. " + limit;
  }
  return "Found: as a patch, " + share + ". Averaged over a Gaussian of " +
         Um(evidence.filter_um, 2) +
         " (sigma), less the same of its surroundings, it stands out "
         "by " +
         FixedWords(feature.snr, 1) + " times the noise of that average, which is " +
         FixedWords(evidence.noise, 2) + " grey levels here. " + limit;
}

std::string MeasuredWords(const Evidence& evidence, const Feature& feature) {
  const std::string result =
      Um(feature.size_um, 2) + " +/- " + FixedWords(feature.size_uncertainty_um, 2) + " um (k = 2)";
  if (evidence.width_across && evidence.profile.model.empty()) {
    return "Measured: a scratch's size is its width. It shows two sides, each a line of its own; "
           "from the outer edge of one to that of the other they are " +
           result + " wide.";
  }
  if (evidence.width_across) {
    return "Measured: a scratch's size is its width. The brightness across it, averaged along it, "
           "is that of a bar " +
           result + " wide seen through a blur of " + Um(evidence.blur_um, 2) + " (sigma).";
  }
  if (feature.kind == FeatureKind::kScratch) {
    return "Measured: it is long and narrow, so a scratch, whose size is its width. Its area over "
           "its length of " +
           Um(feature.length_um.value_or(0)) +
           ", for no bar explains the brightness across it, is " + result + ".";
  }
  return "Measured: a defect's size is the diameter of the smallest circle around it. Its border "
         "is where it crosses half of its height; the circle around that border is " +
         Um(evidence.seen_diameter_um, 2) + " across; corrected for a blur of " +
         Um(evidence.blur_um, 2) + " (sigma) it is " + result + ".";
}

std::string ZoneSentence(const GradedPicture& picture,
                         const Evidence& evidence,
                         const Feature& feature) {
  if (feature.zone < 0) return "Zone: outside all.";
  const Zone& zone = picture.limits.zones[static_cast<std::size_t>(feature.zone)];
  return "Zone: " + zone.name + (zone.title.empty() ? "" : ", " + zone.title) +
         ", the innermost that it touches. Its border comes within " + Um(evidence.nearest_um) +
         " of the cladding's centre; the zone reaches from " +
         NumberWords(0.5 * zone.inner_diameter_um) + " to " + Um(0.5 * zone.outer_diameter_um, 1) +
         ".";
}

std::string Flags(const Feature& feature) {
  std::string text;
  if (feature.cut_by_frame) {
    text += "Note: it runs out of what the picture shows; its size is a lower bound.\n";
  }
  if (feature.saturated) text += "Note: it touches pixels that are pure white or black.\n";
  return text;
}

// How far a size is from the nearest end of a range, in words.
std::string MarginWords(const SizeRange& range, const Feature& feature) {
  double nearest = 1e300;
  double end_um = 0;
  for (const auto& end : {range.from_um, range.to_um}) {
    if (!end || std::abs(feature.size_um - *end) >= nearest) continue;
    nearest = std::abs(feature.size_um - *end);
    end_um = *end;
  }
  if (nearest > 1e299) return "";
  std::string text = Um(nearest, 2) + (feature.size_um < end_um ? " below " : " above ") +
                     NumberWords(end_um) + " um";
  if (feature.size_uncertainty_um > 0) {
    text += ", " + FixedWords(nearest / feature.size_uncertainty_um, 1) + " times its uncertainty";
  }
  return text;
}

std::string RuleSentence(const Rule& rule, const RuleOutcome& outcome, const Feature& feature) {
  const bool counted = rule.size.Contains(feature.size_um);
  std::string text = "Rule " + rule.id + " (" + RuleWords(rule) + "): ";
  const std::string margin = MarginWords(rule.size, feature);
  text += counted ? "it is counted here" : "it is not counted here";
  if (!margin.empty()) text += ", " + margin;
  if (!rule.allowed) return text + "; any number is allowed.";
  text += "; " + std::to_string(outcome.found) + " found, " + std::to_string(*rule.allowed) +
          " allowed: " + (outcome.met ? "met" : "BROKEN");
  return text +
         (outcome.marginal ? ", but marginal: it could change within the uncertainty." : ".");
}

std::string RuleSentences(const GradedPicture& picture, const Feature& feature) {
  if (feature.zone < 0) return "";
  const Limits& limits = picture.limits;
  const std::string& zone = limits.zones[static_cast<std::size_t>(feature.zone)].name;
  std::string text;
  for (const RuleOutcome& outcome : picture.grade.fibres.front().rules) {
    const Rule& rule = limits.rules[static_cast<std::size_t>(outcome.rule)];
    if (rule.zone != zone || !rule.LooksAt(feature.kind)) continue;
    text += RuleSentence(rule, outcome, feature) + "\n";
  }
  return text.empty() ? "Rules: none of this zone looks at it.\n" : text;
}

std::string Printable(const std::string& text) {
  std::string out;
  std::size_t from = 0;
  while (from < text.size()) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    out += PrintableText(text.substr(from, end - from)) + "\n";
    from = end + 1;
  }
  return out;
}

std::string SightSentence(const Zone& zone, const ZoneSight& sight) {
  std::string text = "Zone " + zone.name + ", " + NumberWords(zone.inner_diameter_um) + " to " +
                     NumberWords(zone.outer_diameter_um) +
                     " um: " + FixedWords(std::floor(1000 * sight.in_view_fraction) / 10, 1) +
                     " % in view; ";
  const auto smallest = [](const std::string& kind, const std::optional<double>& um) {
    return um ? kind + " from " + Um(*um, *um < 0.1 ? 2 : 1) : "no " + kind;
  };
  return text + "would show " + smallest("defects", sight.smallest_visible_um) + " and " +
         smallest("scratches", sight.smallest_visible_scratch_um) + " wide.\n";
}

std::string CameraSentence(const CameraUse& use) {
  std::size_t hidden = 0;
  for (const RemovedDirt& dirt : use.removed) hidden += dirt.divided ? 0 : 1;
  const std::size_t divided = use.removed.size() - hidden;
  return "Camera: profile " + use.id + ". Of the dirt that it knows on the optics, " +
         std::to_string(hidden) + " in the zones " + (hidden == 1 ? "hides" : "hide") +
         " the face and " + (hidden == 1 ? "counts" : "count") + " as not seen; " +
         std::to_string(divided) + (divided == 1 ? " soft shadow is" : " soft shadows are") +
         " divided out.\n";
}

}  // namespace

std::string ExplainFeature(const GradedPicture& picture, const Evidence& evidence) {
  const Feature& feature = FeatureOf(picture, evidence);
  const bool is_line = picture.workings.detection.regions[evidence.region].is_line;
  return Printable(FoundWords(evidence, feature, is_line) + "\n" +
                   MeasuredWords(evidence, feature) + "\n" +
                   ZoneSentence(picture, evidence, feature) + "\n" + Flags(feature) +
                   RuleSentences(picture, feature));
}

std::string ExplainFace(const GradedPicture& picture) {
  const Grade& grade = picture.grade;
  std::string text = "Verdict: " + std::string(VerdictWords(grade.verdict)) +
                     (grade.marginal ? " (marginal)" : "") + " by " + picture.limits.id + ".\n";
  for (const Reason& reason : grade.reasons) text += reason.text + "\n";
  for (const Reason& warning : grade.warnings) text += "Note: " + warning.text + "\n";
  if (grade.camera) text += CameraSentence(*grade.camera);
  if (grade.fibres.empty()) return Printable(text);
  const FibreGrade& fibre = grade.fibres.front();
  text += "Scale: 1 pixel is " + Um(fibre.scale.um_per_px, 4) + " +/- " +
          Um(fibre.scale.um_per_px_uncertainty, 4) +
          " (k = 2), source: " + RecordWord(fibre.scale.source) +
          ". Blur: " + Um(grade.quality.blur_sigma_um, 2) + " (sigma, with its tails) and " +
          Um(grade.quality.blur_fwhm_um, 2) + " wide at half maximum, from the rim.\n";
  for (std::size_t i = 0; i < std::min(fibre.zones.size(), picture.limits.zones.size()); ++i) {
    text += SightSentence(picture.limits.zones[i], fibre.zones[i]);
  }
  text += "What a zone would show is for a contrast of " +
          FixedWords(grade.quality.stated_contrast, 2) + ".\n";
  std::array<int, 2> kinds{};
  for (const Feature& feature : fibre.features) ++kinds[feature.kind == FeatureKind::kDefect];
  text += "Found: " + CountWords(kinds[1], RuleKind::kDefect) + " and " +
          CountWords(kinds[0], RuleKind::kScratch) + ".\n";
  return Printable(text);
}

}  // namespace endgrade
