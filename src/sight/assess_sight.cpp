#include "endgrade/sight.h"
#include "sight/clipping.h"
#include "sight/shake.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kFullWidth = 2.354820045;  // of a Gaussian, at half its height
constexpr double kLargestUm = 40.0;         // features beyond this are not looked for by size
constexpr double kLineLengthUm = 30.0;      // "a scratch" for smallest_visible: half a cladding
// Share of a zone's area that must be able to show the feature; the rest is the thin ring about
// the core's edge, where little can be seen in any picture.
constexpr double kAreaShare = 0.85;

// Standard score whose upper tail is 1 - rate, by bisection of the error function.
double ScoreForRate(double rate) {
  double low = -6;
  double high = 6;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (0.5 * std::erfc(-middle / std::sqrt(2.0)) < rate ? low : high) = middle;
  }
  return low;
}

double DiscPeak(double radius, double sigma) {
  return 1.0 - std::exp(-0.5 * radius * radius / (sigma * sigma));
}

double BarPeak(double width, double sigma) {
  return std::erf(0.5 * width / (sigma * std::sqrt(2.0)));
}

struct Ring {
  double area = 0;
  double level = 0;
  size_t index = 0;
};

// The rings of noise that a zone covers, with the area they share.
std::vector<Ring> RingsOf(const Zone& zone, const ContrastMap& map) {
  std::vector<Ring> rings;
  for (size_t i = 0; i + 1 < map.ring_edges_um.size(); ++i) {
    const double inner = std::max(map.ring_edges_um[i], 0.5 * zone.inner_diameter_um);
    const double outer = std::min(map.ring_edges_um[i + 1], 0.5 * zone.outer_diameter_um);
    if (outer <= inner) continue;
    rings.push_back({outer * outer - inner * inner, map.ring_level[i], i});
  }
  return rings;
}

// Best signal-to-noise over the scales of a disc or a bar of `size_um` in one ring.
double BestSnr(
    const SightInputs& in, const Ring& ring, double size_um, double contrast, bool line) {
  const double um = in.contrast.um_per_cell;
  const double blur = std::max(0.4, in.contrast.blur_sigma_cells);
  double best = 0;
  for (const ScaleNoise& scale : in.detection.scales) {
    const double centre = std::hypot(blur, scale.sigma_cells);
    const double wide = std::hypot(blur, kSurroundRatio * scale.sigma_cells);
    const double half = size_um / um;
    const double height = line ? BarPeak(half, centre) - BarPeak(half, wide)
                               : DiscPeak(0.5 * half, centre) - DiscPeak(0.5 * half, wide);
    double snr = contrast * ring.level * height / scale.ring_noise[ring.index];
    if (line) {
      const double independent = kLineLengthUm / um / std::max(1.0, 2.5 * scale.sigma_cells);
      snr = std::min(snr, 3.0) * std::sqrt(std::max(1.0, independent));
    }
    best = std::max(best, snr);
  }
  return best;
}

std::optional<double> SmallestInRing(
    const SightInputs& in, const Ring& ring, double contrast, double needed, bool line) {
  if (BestSnr(in, ring, kLargestUm, contrast, line) < needed &&
      BestSnr(in, ring, 10.0, contrast, line) < needed) {
    return std::nullopt;
  }
  // The response grows with size up to the coarsest scale; find where it first reaches the need.
  double low = 0.01;
  double high = low;
  while (high < kLargestUm && BestSnr(in, ring, high, contrast, line) < needed) high *= 1.25;
  for (int i = 0; i < 30; ++i) {
    const double middle = 0.5 * (low + high);
    (BestSnr(in, ring, middle, contrast, line) < needed ? low : high) = middle;
  }
  return high;
}

std::optional<double> SmallestVisible(const SightInputs& in,
                                      const Zone& zone,
                                      const SightOptions& options,
                                      bool line) {
  const double threshold = line ? in.detect.line_threshold_sigma : in.detect.threshold_sigma;
  const double needed = threshold + ScoreForRate(options.stated_rate);
  std::vector<std::pair<double, double>> sizes;  // size, area
  double total = 0;
  for (const Ring& ring : RingsOf(zone, in.contrast)) {
    const auto size = SmallestInRing(in, ring, options.stated_contrast, needed, line);
    sizes.emplace_back(size.value_or(1e9), ring.area);
    total += ring.area;
  }
  std::sort(sizes.begin(), sizes.end());
  double area = 0;
  for (const auto& [size, share] : sizes) {
    area += share;
    if (area >= kAreaShare * total) {
      return size < 1e8 ? std::optional<double>(size) : std::nullopt;
    }
  }
  return std::nullopt;
}

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

void NoteProblems(const SightInputs& in,
                  const std::vector<double>& clipped,
                  const SightOptions& options,
                  Quality* quality) {
  const double seen_um = kFullWidth * quality->blur_sigma_um;
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
  quality.noise =
      in.contrast.glass_level > 0 ? in.contrast.glass_noise / in.contrast.glass_level : 1.0;
  quality.rim_contrast = in.contrast.rim_contrast;
  const RimWidths rim = MeasureRimWidths(in.contrast);
  // Along the movement the edge is as wide as across it and the movement together.
  if (rim.shaken) quality.smear_um = 2.0 * std::sqrt(rim.mean_um * rim.swing_um);
  quality.view_um = {in.frame.luma.cols * in.scale.um_per_px,
                     in.frame.luma.rows * in.scale.um_per_px};
  for (size_t i = 0; i < in.limits.zones.size(); ++i) {
    ZoneSight zone;
    zone.in_view_fraction = in.zones.in_view_fraction[i];
    if (!in.contrast.level.empty() && !in.detection.scales.empty()) {
      zone.smallest_visible_um = SmallestVisible(in, in.limits.zones[i], options, false);
      zone.smallest_visible_scratch_um = SmallestVisible(in, in.limits.zones[i], options, true);
    }
    sight.zones.push_back(zone);
  }
  std::vector<double> clipped(in.limits.zones.size(), 0.0);
  if (!in.zones.roi_px.empty()) clipped = ClippedByZone(in, &quality.saturated_fraction);
  NoteProblems(in, clipped, options, &quality);
  return sight;
}

}  // namespace endgrade
