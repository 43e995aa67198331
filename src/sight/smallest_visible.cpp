#include "sight/smallest_visible.h"

#include "detect/faint.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

// What is not the search's own constant was chosen on seeds from 52001, 53001 and 54001 with
// scripts/bench-accuracy.sh --sight [--spread 20].
constexpr double kLargestDiscUm = 40.0;  // larger features are not looked for by size
constexpr double kWidestLineUm = 6.0;    // wider ones are regions (src/detect/line_search.cpp)
constexpr double kLeastUm = 0.02;

// How the line search works, as in src/detect/line_search.cpp: the scale of its filter in cells,
// what it asks above line_threshold_sigma, the bound of one cell's evidence, the least contrast.
constexpr double kFinestLineSigma = 0.8;
constexpr double kWideStep = 2.5;
constexpr double kWideDoubt = 1.5;
constexpr double kLeastFerruleSigma = 2.8;
constexpr double kFerruleDoubt = 1.0;
constexpr double kMostScore = 3.0;
constexpr double kFitSpread = 0.25;  // of the fitted height, relative: as often too low
// Looked for no nearer to the rim than this.
constexpr double kInsideRimUm = 2.5;
constexpr double kOutsideRimUm = 4.0;
// A line that runs along the rim itself is part of the ring between glass and ferrule to anybody:
// the statement on scratches speaks of the rest of the zone.
constexpr double kOnRimUm = 1.5;

// What the search gains by looking at every place and scale about a feature, in sigma.
constexpr double kSearchGain = 0.5;

// What the search for straight pieces of set lengths and directions keeps of a line's
// signal-to-noise.
constexpr double kLineKept = 0.7;

double NormalCdf(double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); }

double DiscPeak(double diameter, double sigma) {
  const double ratio = 0.5 * diameter / sigma;
  return 1.0 - std::exp(-0.5 * ratio * ratio);
}

double BarPeak(double width, double sigma) {
  return std::erf(0.5 * width / (sigma * std::sqrt(2.0)));
}

// A part of a zone with noise of its own.
struct Ring {
  double area = 0;
  double level = 0;      // luma units
  double radius_um = 0;  // of its middle
  size_t index = 0;
};

std::vector<Ring> RingsOf(const Zone& zone, const ContrastMap& map) {
  std::vector<Ring> rings;
  for (size_t i = 0; i + 1 < map.ring_edges_um.size(); ++i) {
    const double inner = std::max(map.ring_edges_um[i], 0.5 * zone.inner_diameter_um);
    const double outer = std::min(map.ring_edges_um[i + 1], 0.5 * zone.outer_diameter_um);
    if (outer <= inner) continue;
    rings.push_back({outer * outer - inner * inner, map.ring_level[i], 0.5 * (inner + outer), i});
  }
  return rings;
}

// The chance that the detector finds one feature in one ring.
class Chance {
 public:
  Chance(const SightInputs& in, double contrast)
      : in_(in), contrast_(contrast), blur_(std::max(0.4, in.contrast.blur_sigma_cells)) {}

  [[nodiscard]] double OfDisc(const Ring& ring, double diameter_um) const {
    return BySpeckSearch(ring, diameter_um, DiscPeak);
  }

  // By the search for lines, or piece by piece by that for specks.
  [[nodiscard]] double OfLine(const Ring& ring, double width_um) const {
    const double piece = BySpeckSearch(ring, width_um, BarPeak);
    const double pieces =
        std::max(1.0, kVisibleLineUm / in_.contrast.um_per_cell / (kPieceOfBlur * blur_));
    return 1.0 - std::pow(1.0 - piece, pieces) * (1.0 - ByLineSearch(ring, width_um));
  }

 private:
  // Cells along a line, in units of its blur, that are one independent value.
  static constexpr double kPieceOfBlur = 6.0;

  template <typename Peak>
  [[nodiscard]] double Snr(
      const Ring& ring, double size_um, double sigma, double noise, const Peak& peak) const {
    const double size = size_um / in_.contrast.um_per_cell;
    const double height = peak(size, std::hypot(blur_, sigma)) -
                          peak(size, std::hypot(blur_, kSurroundRatio * sigma));
    return contrast_ * ring.level * height / noise;
  }

  // The best of the scales.
  template <typename Peak>
  [[nodiscard]] double BySpeckSearch(const Ring& ring, double size_um, const Peak& peak) const {
    double best = -1e9;
    for (const ScaleNoise& scale : in_.detection.scales) {
      const double noise = scale.ring_noise[ring.index];
      const double snr = Snr(ring, size_um, scale.sigma_cells, noise, peak);
      const double depth =
          contrast_ * ring.level *
          peak(size_um / in_.contrast.um_per_cell, std::hypot(blur_, scale.sigma_cells));
      best = std::max(
          best,
          snr + kSearchGain -
              LeastBelievedSnr(
                  in_.contrast, ring.radius_um, size_um, depth, in_.detect.threshold_sigma));
    }
    return NormalCdf(best);
  }

  // Between the scales of the speck search noise goes as a power of the scale.
  [[nodiscard]] double NoiseAt(double sigma, size_t ring) const {
    const auto& scales = in_.detection.scales;
    size_t next = 0;
    while (next < scales.size() && scales[next].sigma_cells < sigma) ++next;
    if (next == 0) return scales.front().ring_noise[ring];
    if (next == scales.size()) return scales.back().ring_noise[ring];
    const ScaleNoise& below = scales[next - 1];
    const ScaleNoise& above = scales[next];
    const double share =
        std::log(sigma / below.sigma_cells) / std::log(above.sigma_cells / below.sigma_cells);
    return below.ring_noise[ring] *
           std::pow(above.ring_noise[ring] / below.ring_noise[ring], share);
  }

  [[nodiscard]] double InPass(const Ring& ring,
                              double width_um,
                              double sigma,
                              double threshold) const {
    const double score = Snr(ring, width_um, sigma, NoiseAt(sigma, ring.index), BarPeak);
    const double cells = kVisibleLineUm / in_.contrast.um_per_cell;
    const double independent = std::max(1.0, cells / std::max(1.0, 2.5 * sigma));
    const double snr = kLineKept * std::min(score, kMostScore) * std::sqrt(independent);
    return NormalCdf(snr - threshold);
  }

  [[nodiscard]] double ByLineSearch(const Ring& ring, double width_um) const {
    const ContrastMap& map = in_.contrast;
    const double seen =
        contrast_ * ring.level * BarPeak(width_um / map.um_per_cell, std::max(0.5, blur_));
    const double plain = NormalCdf((seen / LeastLineDepth(map) - 1.0) / kFitSpread);
    const double fine = std::max(kFinestLineSigma, map.blur_sigma_cells);
    const double threshold = in_.detect.line_threshold_sigma;
    const double from_rim_um = ring.radius_um - map.cladding_radius_um;
    if (from_rim_um < -kInsideRimUm) {
      return plain * std::max(InPass(ring, width_um, fine, threshold),
                              InPass(ring, width_um, kWideStep * fine, threshold + kWideDoubt));
    }
    if (from_rim_um < kOutsideRimUm) return 0;
    const double coarse = std::max(2.0 * fine, kLeastFerruleSigma);
    const double least =
        std::max(threshold + kFerruleDoubt, LeastBelievedLineSnr(map, ring.radius_um, seen));
    return plain * InPass(ring, width_um, coarse, least);
  }

  const SightInputs& in_;
  double contrast_;
  double blur_;  // cells
};

}  // namespace

std::optional<double> SmallestVisible(const SightInputs& in,
                                      const Zone& zone,
                                      const SightOptions& options,
                                      VisibleShape shape) {
  std::vector<Ring> rings = RingsOf(zone, in.contrast);
  const Chance chance(in, options.stated_contrast);
  if (shape == VisibleShape::kLine) {
    std::erase_if(rings, [&](const Ring& ring) {
      return std::abs(ring.radius_um - in.contrast.cladding_radius_um) < kOnRimUm;
    });
  }
  double area = 0;
  for (const Ring& ring : rings) area += ring.area;
  const auto found = [&](double size_um) {
    double sum = 0;
    for (const Ring& ring : rings) {
      sum += ring.area * (shape == VisibleShape::kDisc ? chance.OfDisc(ring, size_um)
                                                       : chance.OfLine(ring, size_um));
    }
    return sum >= options.stated_rate * area;
  };
  const double largest = shape == VisibleShape::kDisc ? kLargestDiscUm : kWidestLineUm;
  double high = kLeastUm;
  while (high < largest && !found(high)) high *= 1.25;
  if (area <= 0 || (high >= largest && !found(largest))) return std::nullopt;
  double low = high / 1.25;
  for (int i = 0; i < 20; ++i) {
    const double middle = 0.5 * (low + high);
    (found(middle) ? high : low) = middle;
  }
  return high;
}

}  // namespace endgrade
