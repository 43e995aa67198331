#include "endgrade/sight.h"
#include "sight/clipping.h"
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

// What 95 % of the face are darker than, luma units: steps that the picture stores.
double BrightestLevels(const ContrastMap& map) {
  std::vector<float> levels;
  for (int y = 0; y < map.level.rows; y += 2) {
    const auto* radius = map.radius_um.ptr<float>(y);
    const auto* level = map.level.ptr<float>(y);
    for (int x = y % 4; x < map.level.cols; x += 4) {
      if (static_cast<double>(radius[x]) < map.outer_um) levels.push_back(level[x]);
    }
  }
  if (levels.empty()) return 0.0;
  const auto at = levels.begin() +
                  static_cast<std::ptrdiff_t>(kBright * static_cast<double>(levels.size() - 1));
  std::nth_element(levels.begin(), at, levels.end());
  return static_cast<double>(*at);
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
  return sight;
}

}  // namespace endgrade
