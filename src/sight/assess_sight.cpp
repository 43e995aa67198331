#include "core/order_statistics.h"
#include "endgrade/sight.h"
#include "sight/broad_edges.h"
#include "sight/clipping.h"
#include "sight/core_surround.h"
#include "sight/held_cells.h"
#include "sight/shake.h"
#include "sight/smallest_visible.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kBright = 0.95;  // quantile of the face's levels

double LeastMustSee(const Limits& limits) {
  double least = 1e9;
  for (const Zone& zone : limits.zones) {
    least = std::min(
        {least, zone.must_see_defect_um.value_or(1e9), zone.must_see_scratch_um.value_or(1e9)});
  }
  return least;
}

std::string Number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.1f", value);
  return text;
}

std::string Percent(double share) {
  char text[32];
  std::snprintf(text, sizeof text, "%.0f", 100.0 * share);
  return text;
}

// What 95 % of the face are darker than, luma units: steps that the picture stores.
double BrightestLevels(const ContrastMap& map) {
  std::vector<float> levels;
  levels.reserve(map.level.total() / 8 + static_cast<size_t>(map.level.rows));
  for (int y = 0; y < map.level.rows; y += 2) {
    const auto* radius = map.radius_um.ptr<float>(y);
    const auto* level = map.level.ptr<float>(y);
    for (int x = y % 4; x < map.level.cols; x += 4) {
      if (static_cast<double>(radius[x]) < map.outer_um) levels.push_back(level[x]);
    }
  }
  if (levels.empty()) return 0.0;
  const auto rank = static_cast<size_t>(kBright * static_cast<double>(levels.size() - 1));
  return static_cast<double>(OrderStatistics(levels).At(rank));
}

void NoteProblems(const SightInputs& in,
                  const std::vector<double>& clipped,
                  const SightOptions& options,
                  Quality* quality) {
  const double seen_um = quality->blur_fwhm_um;
  const double least = LeastMustSee(in.limits);
  if (least < 1e8 && seen_um > options.max_blur_over_must_see * least) {
    quality->problems.push_back({"out_of_focus",
                                 "The picture is blurred over " + Number(seen_um) +
                                     " um, too much to see " + Number(least) +
                                     " um: refocus, hold the fibre still, and take it again."});
  }
  if (least < 1e8 && quality->smear_um > options.max_blur_over_must_see * least) {
    quality->problems.push_back({"shaken",
                                 "The camera or the fibre moved by about " +
                                     Number(quality->smear_um) +
                                     " um while the picture was taken: rest the probe, hold it "
                                     "still, and take it again."});
  }
  if (quality->rim_contrast < options.min_rim_contrast) {
    quality->problems.push_back(
        {"hazy",
         "Even the edge of the glass stands out by only " + Number(100 * quality->rim_contrast) +
             " %: wipe the microscope's optics, reduce stray light, and take it again."});
  }
  if (quality->brightest_levels < options.min_brightest_levels) {
    quality->problems.push_back({"too_dark",
                                 "The face is only " + Number(quality->brightest_levels) +
                                     " grey levels above black, and rounding to whole levels hides "
                                     "what is faint: give more light or a longer exposure, and "
                                     "take it again."});
  }
  for (size_t i = 0; i < in.limits.zones.size(); ++i) {
    const Zone& zone = in.limits.zones[i];
    const bool ruled = zone.must_see_defect_um || zone.must_see_scratch_um;
    if (!ruled || clipped[i] <= options.max_saturated_fraction) continue;
    quality->problems.push_back(
        {"saturated",
         Number(100 * clipped[i]) + " % of zone " + zone.name +
             " is pure white or black and shows nothing: change the light or the exposure, and "
             "take it again."});
  }
}

// Whether a defect between these radii could break a rule.
bool MattersBetween(const Limits& limits, double from_um, double to_um) {
  return std::any_of(limits.zones.begin(), limits.zones.end(), [&](const Zone& zone) {
    return zone.must_see_defect_um && zone.inner_diameter_um < 2.0 * to_um &&
           zone.outer_diameter_um > 2.0 * from_um;
  });
}

bool MayHaveWideCore(const SightInputs& in) {
  const auto& cores = in.limits.fibre.core_diameters_um;
  return in.contrast.core_radius_um > kLargestSingleModeUm ||
         std::any_of(cores.begin(), cores.end(), [](double diameter_um) {
           return diameter_um > 2.0 * kLargestSingleModeUm;
         });
}

// What lies concentric with a core looks like a part of it. Of 340 clean single-mode faces, drawn
// in six ways, none is darker than 0.035 all around its core, or brighter than 0.09 and a third of
// what its core is; of twelve with a smudge, a ring or a disc that had passed, none is lighter than
// 0.12 or fainter than 0.14 and a half of it.
void NoteCoreSurround(const SightInputs& in, const cv::Mat& held, Quality* quality) {
  constexpr double kDark = 0.07;
  constexpr double kDarkOfLight = 0.12;  // sharpening darkens what is beside a lit core
  constexpr double kBright = 0.1;
  constexpr double kBrightOfLight = 0.4;  // a lit core glows
  if (MayHaveWideCore(in) || !MattersBetween(in.limits, 0.0, kLargestSingleModeUm)) {
    return;
  }
  const CoreSurround around = LookAroundCore(in.contrast, held);
  const double lit = std::max(0.0, around.middle);
  const bool dark = -around.darkest > std::max(kDark, kDarkOfLight * lit);
  const bool bright = around.brightest > std::max(kBright, kBrightOfLight * lit);
  if (!dark && !bright) return;
  quality->doubts.push_back(
      {"core_surround",
       "The glass around the core is " + Percent(dark ? -around.darkest : around.brightest) +
           " % " + (dark ? "darker" : "brighter") +
           " all around than the rest of it, as no core's end is: residue or a burn may lie there. "
           "Clean the face and take the picture again."});
}

// A film that runs out of the picture, or covers most of the face, has no border that goes round
// it. Of 800 clean faces, drawn in five ways, none has an edge of over 0.035 on the glass nor,
// above its grain, of 0.105 on the ferrule; of 25 with films that had passed none has a lower one
// than 0.055 and 0.15.
void NoteUnevenFace(const SightInputs& in, const cv::Mat& held, Quality* quality) {
  constexpr double kOnGlass = 0.048;
  constexpr double kOnGlassSigma = 10.0;
  constexpr double kOnFerrule = 0.125;
  constexpr double kOnFerruleSigma = 4.5;
  const ContrastMap& map = in.contrast;
  const bool wide = MayHaveWideCore(in);
  const double outer_um = 0.5 * in.limits.RuledDiameter();
  const BroadEdges edges = FindBroadEdges(map, held, outer_um, wide);
  const auto note = [&](const char* what, const BroadEdge& edge) {
    quality->doubts.push_back(
        {"uneven_face",
         std::string("One part of the ") + what + " is " + Percent(edge.contrast) +
             " % brighter than the part beside it, along a border of over 35 um: a film may lie on "
             "either. Clean the face and take the picture again; what stays in its place when the "
             "connector is turned is the light's."});
  };
  const double rim_um = map.cladding_radius_um;
  if (edges.glass.contrast > kOnGlass && edges.glass.sigma > kOnGlassSigma &&
      MattersBetween(in.limits, 0.0, rim_um)) {
    note("glass", edges.glass);
  }
  if (edges.ferrule.contrast > kOnFerrule && edges.ferrule.sigma > kOnFerruleSigma &&
      MattersBetween(in.limits, rim_um, outer_um)) {
    note("ferrule", edges.ferrule);
  }
}

}  // namespace

std::optional<std::string> SightOptions::Problem() const {
  const auto out = [](const char* name, double value, const char* range) {
    return std::string("SightOptions.") + name + " = " + std::to_string(value) +
           ": must be within " + range;
  };
  if (!(stated_contrast >= 0.02 && stated_contrast <= 1)) {
    return out("stated_contrast", stated_contrast, "[0.02, 1]");
  }
  if (!(stated_rate >= 0.5 && stated_rate <= 0.999)) {
    return out("stated_rate", stated_rate, "[0.5, 0.999]");
  }
  if (!(max_blur_over_must_see >= 0.5 && max_blur_over_must_see <= 10)) {
    return out("max_blur_over_must_see", max_blur_over_must_see, "[0.5, 10]");
  }
  if (!(min_rim_contrast >= 0 && min_rim_contrast <= 1)) {
    return out("min_rim_contrast", min_rim_contrast, "[0, 1]");
  }
  if (!(min_brightest_levels >= 0 && min_brightest_levels <= 255)) {
    return out("min_brightest_levels", min_brightest_levels, "[0, 255]");
  }
  if (!(max_saturated_fraction >= 0 && max_saturated_fraction <= 1)) {
    return out("max_saturated_fraction", max_saturated_fraction, "[0, 1]");
  }
  return std::nullopt;
}

Sight AssessSight(const SightInputs& in, const SightOptions& options) {
  Sight sight;
  Quality& quality = sight.quality;
  quality.stated_contrast = options.stated_contrast;
  quality.blur_sigma_um = in.fibre.blur_sigma_px * in.scale.um_per_px;
  quality.blur_fwhm_um = in.fibre.blur_fwhm_px * in.scale.um_per_px;
  quality.noise =
      in.contrast.glass_level > 0 ? in.contrast.glass_noise / in.contrast.glass_level : 1.0;
  quality.rim_contrast = in.contrast.rim_contrast;
  quality.brightest_levels = BrightestLevels(in.contrast);
  const RimWidths rim = MeasureRimWidths(in.contrast);
  // Along the movement the edge is as wide as across it and the movement together.
  if (rim.shaken) quality.smear_um = 2.0 * std::sqrt(rim.mean_um * rim.swing_um);
  quality.view_um = {in.frame.luma.cols * in.scale.um_per_px,
                     in.frame.luma.rows * in.scale.um_per_px};
  for (size_t i = 0; i < in.limits.zones.size(); ++i) {
    ZoneSight zone;
    zone.in_view_fraction = in.zones.in_view_fraction[i];
    if (!in.contrast.level.empty() && !in.detection.scales.empty()) {
      zone.smallest_visible_um =
          SmallestVisible(in, in.limits.zones[i], options, VisibleShape::kDisc);
      // A mark that is smaller than a pixel may be the pixel's own.
      if (zone.smallest_visible_um) {
        zone.smallest_visible_um = std::max(*zone.smallest_visible_um, in.scale.um_per_px);
      }
      zone.smallest_visible_scratch_um =
          SmallestVisible(in, in.limits.zones[i], options, VisibleShape::kLine);
    }
    sight.zones.push_back(zone);
  }
  std::vector<double> clipped(in.limits.zones.size(), 0.0);
  if (!in.zones.roi_px.empty()) clipped = ClippedByZone(in, &quality.saturated_fraction);
  NoteProblems(in, clipped, options, &quality);
  if (!in.contrast.level.empty()) {
    const cv::Mat held = HeldCells(in.contrast, in.detection.regions);
    NoteUnevenFace(in, held, &quality);
    NoteCoreSurround(in, held, &quality);
  }
  return sight;
}

}  // namespace endgrade
