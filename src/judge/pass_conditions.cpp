#include "judge/pass_conditions.h"

#include "judge/words.h"
#include "limits/size_range.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// Full width at half maximum of a Gaussian, in sigmas: 2 sqrt(2 ln 2).
// Pixels that the smallest feature should span before finer pixels stop being the first advice:
// a feature smaller than that is mostly the gaps between samples; common practice, no source.
constexpr double kPixelsAcross = 3.0;

constexpr FeatureKind kKinds[] = {FeatureKind::kScratch, FeatureKind::kDefect};

bool HasBreakableRule(const Limits& limits, size_t zone) {
  return std::any_of(limits.rules.begin(), limits.rules.end(), [&](const Rule& rule) {
    return rule.zone == limits.zones[zone].name && rule.CanBreak();
  });
}

void CheckView(const std::vector<ZoneSight>& sight,
               const Limits& limits,
               const JudgeOptions& options,
               Conditions& conditions) {
  std::vector<std::string> cut;
  conditions.middle_cut =
      sight.empty() || !(sight[0].in_view_fraction >= options.min_in_view_fraction);
  for (size_t i = 0; i < limits.zones.size(); ++i) {
    if (!HasBreakableRule(limits, i)) continue;
    const double in_view = i < sight.size() ? sight[i].in_view_fraction : 0.0;
    if (in_view >= options.min_in_view_fraction) continue;  // NaN does not slip through
    const double percent = std::floor(100.0 * in_view);
    cut.push_back(ZoneWords(limits.zones[i]) + " (" + (percent >= 0 ? Fixed(percent, 0) : "?") +
                  " % in view)");
  }
  if (cut.empty()) return;
  conditions.forbid.push_back({"zone_cut_off",
                               "The picture does not hold all of " + Joined(cut) +
                                   ". Move the fibre to the middle of the picture, or lower the "
                                   "magnification until everything up to " +
                                   NumberWords(limits.RuledDiameter()) + " um across is in view."});
}

// What would let the picture show features of `needed_um`: finer pixels, focus or light, in the
// order in which they stand in each other's way.
std::string AdviceToSee(double needed_um, const Quality& quality, const Scale& scale) {
  if (!(scale.um_per_px * kPixelsAcross <= needed_um)) {
    return "Raise the magnification or use a camera with finer pixels: one pixel is " +
           Fixed(scale.um_per_px, 2) + " um here.";
  }
  if (!(quality.blur_fwhm_um <= needed_um)) {
    return "Focus again; if it stays soft, clean the microscope's lens.";
  }
  return "Give more light or a lower gain: noise hides what is small.";
}

// "defects under 3.4 um (2 um matters)", or nothing when enough is seen.
std::string CouldBeMissed(const ZoneSight& sight, FeatureKind kind, double needed_um) {
  const bool scratch = kind == FeatureKind::kScratch;
  const auto& seen = scratch ? sight.smallest_visible_scratch_um : sight.smallest_visible_um;
  if (seen && *seen <= needed_um) return "";
  const std::string noun = scratch ? "scratches" : "defects";
  const std::string needed = " (" + NumberWords(needed_um) + " um matters)";
  if (!seen || !std::isfinite(*seen)) return noun + " of any size" + needed;
  SizeRange enough;
  enough.to_um = needed_um;
  return noun + " under " + SizeBeside(*seen, enough) + " um" + needed;
}

void CheckSmallest(const std::vector<ZoneSight>& sight,
                   const Quality& quality,
                   const Scale& scale,
                   const Limits& limits,
                   Conditions& conditions) {
  std::string text;
  std::optional<double> least_needed_um;
  for (size_t i = 0; i < limits.zones.size(); ++i) {
    const ZoneSight seen = i < sight.size() ? sight[i] : ZoneSight{};
    if (seen.in_view_fraction == 0) continue;  // cut off, and said so
    std::vector<std::string> missed;
    for (const FeatureKind kind : kKinds) {
      const auto needed_um = limits.MustSee(i, kind);
      if (!needed_um) continue;
      const std::string part = CouldBeMissed(seen, kind, *needed_um);
      if (part.empty()) continue;
      missed.push_back(part);
      least_needed_um = std::min(*needed_um, least_needed_um.value_or(*needed_um));
    }
    if (missed.empty()) continue;
    text +=
        (text.empty() ? "" : "; ") + ("in " + ZoneWords(limits.zones[i])) + ", " + Joined(missed);
  }
  if (text.empty()) return;
  conditions.noisy = true;
  conditions.forbid.push_back({"cannot_see_small",
                               "Features with a contrast of " + Fixed(quality.stated_contrast, 2) +
                                   " could be missed: " + text + ". " +
                                   AdviceToSee(*least_needed_um, quality, scale)});
}

// ---- the face

// Kinds of core by the diameter that shows: a single-mode core's light spreads, and blur widens it;
// multimode cores are 50 and 62.5 um. The gaps between the spans belong to no kind.
enum class CoreKind { kUnknown, kSingleMode, kMultimode };

CoreKind KindOfCore(double diameter_um) {
  if (diameter_um >= 4.0 && diameter_um <= 20.0) return CoreKind::kSingleMode;
  if (diameter_um >= 40.0 && diameter_um <= 78.0) return CoreKind::kMultimode;
  return CoreKind::kUnknown;
}

// A core this near to an expected one is taken for it: its edge is graded or lit unevenly, and
// what shows of it varies; common practice, no source.
constexpr double kCoreFit = 0.25;

void CheckCore(double diameter_um, const Limits& limits, Conditions& conditions) {
  const auto& expected = limits.fibre.core_diameters_um;
  if (expected.empty()) return;
  const CoreKind kind = KindOfCore(diameter_um);
  const bool fits = std::any_of(expected.begin(), expected.end(), [&](double core_um) {
    return std::abs(diameter_um - core_um) <= kCoreFit * core_um ||
           (kind != CoreKind::kUnknown && kind == KindOfCore(core_um));
  });
  if (fits) return;
  std::vector<std::string> numbers;
  numbers.reserve(expected.size());
  for (const double core_um : expected) numbers.push_back(NumberWords(core_um));
  const std::string measured = "The core measures " + Fixed(diameter_um, 0) + " um; " + limits.id +
                               " is for cores of " + Joined(numbers) + " um";
  if (kind == CoreKind::kUnknown) {
    conditions.warn.push_back(
        {"core_size", measured + ". Check that the limits are those of this fibre."});
    return;
  }
  const std::string other =
      kind == CoreKind::kMultimode ? "a multimode fibre's" : "a single-mode fibre's";
  const std::string light = kind == CoreKind::kSingleMode
                                ? " Light that fills only part of a larger core can look so too: "
                                  "put it out and take the picture again."
                                : "";
  conditions.forbid.push_back({"wrong_fibre",
                               measured + ", and this is " + other +
                                   ". Grade by the limits of the fibre that it is." + light});
}

// A single-mode core lies within 0.6 um of its cladding's middle (ITU-T G.652 and IEC 60793-2-50,
// from memory). Light on one side moves what shows of it by as much again; common practice, no
// source.
constexpr double kConcentricUm = 0.6;
constexpr double kCoreDoubtUm = 0.6;
// Where the cladding's middle is known better than this, it is the core that was mistaken: for a
// speck, or what shows of it beside one. Three in a hundred pictures are less sure.
constexpr double kSureCentreUm = 0.2;

void CheckConcentric(const FibreGeometry& geometry, const Scale& scale, Conditions& conditions) {
  const cv::Point2d core = scale.ToUm(geometry.core->centre_px);
  const cv::Point2d middle = scale.ToUm(geometry.cladding.centre_px);
  const double off_um = std::hypot(core.x - middle.x, core.y - middle.y);
  const double unsure_um = geometry.centre_uncertainty_px * scale.um_per_px;
  if (off_um <= kConcentricUm + kCoreDoubtUm || unsure_um < kSureCentreUm) return;
  conditions.forbid.push_back(
      {"core_off_centre",
       "The core lies " + Fixed(off_um, 1) +
           " um off the middle of what was taken for the cladding, more than in any fibre: its "
           "edge "
           "is not seen well. Clean the face, change the light so that the edge shows all around, "
           "and take the picture again."});
}

// IEC 60793-2-50 lets claddings be 1 % out of round, and an angled face adds 1 % at most
// (1 / cos 8 degrees = 1.0098); the rest is for the fit. Both from memory.
constexpr double kOval = 1.03;
// Pixels of 720 x 576 are 9 % out of square (ITU-R BT.601, from memory); tilt that does this
// much would throw half the face out of focus.
constexpr double kNotRound = 1.15;

// Long over short axis as seen with square pixels: `aspect` is a pixel's height over its width.
double AxisRatio(const Ellipse& cladding, double aspect) {
  if (aspect == 1.0) return cladding.semi_major_px / cladding.semi_minor_px;
  const cv::Matx22d stretch(1.0, 0.0, 0.0, aspect);
  const cv::Matx22d shape = stretch * cladding.ToUnitCircle().inv();
  const cv::Matx22d square = shape * shape.t();
  const double mean = 0.5 * (square(0, 0) + square(1, 1));
  const double apart = std::hypot(0.5 * (square(0, 0) - square(1, 1)), square(0, 1));
  return std::sqrt((mean + apart) / (mean - apart));
}

void CheckOutline(const Ellipse& cladding, double aspect, Conditions& conditions) {
  const double ratio = AxisRatio(cladding, aspect);
  if (ratio <= kOval) return;
  const std::string pixels = aspect == 1.0
                                 ? "the pixels are not square, or the face is tilted to the camera"
                                 : "the face is tilted to the camera, or its pixels are not as the "
                                   "camera profile has them";
  const std::string what = "The cladding looks " + Fixed(100.0 * (ratio - 1.0), 0) +
                           " % longer one way than the other: " + pixels;
  if (ratio <= kNotRound) {
    conditions.warn.push_back({"cladding_oval", what + ". Sizes are corrected for it."});
    return;
  }
  conditions.forbid.push_back(
      {"cladding_not_round",
       what + ", by more than can be corrected for. Look at the face squarely, and save the "
              "picture with square pixels."});
}

}  // namespace

void CheckSight(const std::vector<ZoneSight>& sight,
                const Quality& quality,
                const Scale& scale,
                const Limits& limits,
                const JudgeOptions& options,
                Conditions& conditions) {
  CheckView(sight, limits, options, conditions);
  for (const Reason& problem : quality.problems) conditions.forbid.push_back(problem);
  conditions.poor = !quality.problems.empty();
  for (const Reason& doubt : quality.doubts) conditions.forbid.push_back(doubt);
  CheckSmallest(sight, quality, scale, limits, conditions);
}

void CheckScale(const Scale& scale, Conditions& conditions) {
  const double relative = scale.um_per_px_uncertainty / scale.um_per_px;
  const bool usable = std::isfinite(scale.um_per_px) && scale.um_per_px > 0 && relative >= 0 &&
                      relative < 1 && std::isfinite(scale.cladding_diameter_um);
  if (!usable) {
    conditions.forbid.push_back({"scale_unknown",
                                 "There is no usable scale for this picture. Give the micrometres "
                                 "of a pixel, or take a picture with more of the cladding's rim."});
  }
  for (const Reason& warning : scale.warnings) {
    const bool forbids = warning.code == "cladding_size";
    (forbids ? conditions.forbid : conditions.warn).push_back(warning);
  }
}

void CheckFace(const FibreGeometry& geometry,
               const Scale& scale,
               const Limits& limits,
               Conditions& conditions) {
  CheckOutline(geometry.cladding, scale.pixel_aspect, conditions);
  if (!geometry.core) return;
  const double diameter_um = 2.0 * geometry.core->MeanRadius() * scale.um_per_px;
  if (!std::isfinite(diameter_um)) return;
  CheckCore(diameter_um, limits, conditions);
  if (KindOfCore(diameter_um) == CoreKind::kSingleMode)
    CheckConcentric(geometry, scale, conditions);
}

}  // namespace endgrade
