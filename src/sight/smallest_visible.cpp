#include "sight/smallest_visible.h"

#include "detect/faint.h"

#include <algorithm>
#include <array>
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

using Peak = double (*)(double size, double sigma);

// A filter that compares what lies within its scale with what is around it.
class Filter {
 public:
  Filter(double sigma, double blur)
      : sigma_(sigma),
        inner_(std::hypot(blur, sigma)),
        outer_(std::hypot(blur, kSurroundRatio * sigma)) {}

  // Turns to a feature of this size, cells.
  void LookAt(double size, Peak peak) {
    peak_ = peak(size, inner_);
    height_ = peak_ - peak(size, outer_);
  }

  [[nodiscard]] double sigma() const { return sigma_; }
  // Of a feature with a contrast of 1: within the scale alone, and less what is around it.
  [[nodiscard]] double peak() const { return peak_; }
  [[nodiscard]] double height() const { return height_; }

 private:
  double sigma_;  // cells
  double inner_;  // with the picture's blur
  double outer_;
  double peak_ = 0;
  double height_ = 0;
};

enum LinePass : size_t { kFine, kWide, kCoarse, kLinePasses };

// The passes of the search for lines.
std::array<Filter, kLinePasses> LineFilters(const ContrastMap& map, double blur) {
  const double fine = std::max(kFinestLineSigma, map.blur_sigma_cells);
  return {Filter(fine, blur),
          Filter(kWideStep * fine, blur),
          Filter(std::max(2.0 * fine, kLeastFerruleSigma), blur)};
}

// Between the scales of the speck search noise goes as a power of the scale.
double NoiseAt(double sigma, size_t ring, const std::vector<ScaleNoise>& scales) {
  size_t next = 0;
  while (next < scales.size() && scales[next].sigma_cells < sigma) ++next;
  if (next == 0) return scales.front().ring_noise[ring];
  if (next == scales.size()) return scales.back().ring_noise[ring];
  const ScaleNoise& below = scales[next - 1];
  const ScaleNoise& above = scales[next];
  const double share =
      std::log(sigma / below.sigma_cells) / std::log(above.sigma_cells / below.sigma_cells);
  return below.ring_noise[ring] * std::pow(above.ring_noise[ring] / below.ring_noise[ring], share);
}

// A part of a zone with noise of its own.
struct Ring {
  double area = 0;
  double level = 0;      // luma units
  double radius_um = 0;  // of its middle
  size_t index = 0;
  std::array<double, kLinePasses> line_noise{};
};

std::vector<Ring> RingsOf(const Zone& zone, const ContrastMap& map) {
  std::vector<Ring> rings;
  for (size_t i = 0; i + 1 < map.ring_edges_um.size(); ++i) {
    const double inner = std::max(map.ring_edges_um[i], 0.5 * zone.inner_diameter_um);
    const double outer = std::min(map.ring_edges_um[i + 1], 0.5 * zone.outer_diameter_um);
    if (outer <= inner) continue;
    rings.push_back(
        {outer * outer - inner * inner, map.ring_level[i], 0.5 * (inner + outer), i, {}});
  }
  return rings;
}

// The chance that the detector finds one feature in one ring.
class Chance {
 public:
  Chance(const SightInputs& in, double contrast, VisibleShape shape)
      : in_(in),
        contrast_(contrast),
        shape_(shape),
        blur_(std::max(0.4, in.contrast.blur_sigma_cells)),
        lines_(LineFilters(in.contrast, blur_)) {
    for (const ScaleNoise& scale : in.detection.scales)
      specks_.emplace_back(scale.sigma_cells, blur_);
  }

  void MeasureLineNoise(Ring* ring) const {
    for (size_t i = 0; i < kLinePasses; ++i) {
      ring->line_noise[i] = NoiseAt(lines_[i].sigma(), ring->index, in_.detection.scales);
    }
  }

  // Says how large the feature is.
  void LookAt(double size_um) {
    size_um_ = size_um;
    const double size = size_um / in_.contrast.um_per_cell;
    const Peak peak = shape_ == VisibleShape::kDisc ? DiscPeak : BarPeak;
    for (Filter& filter : specks_) filter.LookAt(size, peak);
    if (shape_ == VisibleShape::kDisc) return;
    for (Filter& filter : lines_) filter.LookAt(size, peak);
    seen_ = peak(size, std::max(0.5, blur_));
  }

  [[nodiscard]] double In(const Ring& ring) const {
    return shape_ == VisibleShape::kDisc ? BySpeckSearch(ring) : OfLine(ring);
  }

 private:
  // Cells along a line, in units of its blur, that are one independent value.
  static constexpr double kPieceOfBlur = 6.0;

  // By the search for lines, or piece by piece by that for specks.
  [[nodiscard]] double OfLine(const Ring& ring) const {
    const double piece = BySpeckSearch(ring);
    const double pieces =
        std::max(1.0, kVisibleLineUm / in_.contrast.um_per_cell / (kPieceOfBlur * blur_));
    return 1.0 - std::pow(1.0 - piece, pieces) * (1.0 - ByLineSearch(ring));
  }

  // The best of the scales.
  [[nodiscard]] double BySpeckSearch(const Ring& ring) const {
    double best = -1e9;
    for (size_t i = 0; i < specks_.size(); ++i) {
      const double noise = in_.detection.scales[i].ring_noise[ring.index];
      const double snr = contrast_ * ring.level * specks_[i].height() / noise;
      const double depth = contrast_ * ring.level * specks_[i].peak();
      best = std::max(
          best,
          snr + kSearchGain -
              LeastBelievedSnr(
                  in_.contrast, ring.radius_um, size_um_, depth, in_.detect.threshold_sigma));
    }
    return NormalCdf(best);
  }

  [[nodiscard]] double InPass(const Ring& ring, LinePass pass, double threshold) const {
    const Filter& filter = lines_[pass];
    const double score = contrast_ * ring.level * filter.height() / ring.line_noise[pass];
    const double cells = kVisibleLineUm / in_.contrast.um_per_cell;
    const double independent = std::max(1.0, cells / std::max(1.0, 2.5 * filter.sigma()));
    const double snr = kLineKept * std::min(score, kMostScore) * std::sqrt(independent);
    return NormalCdf(snr - threshold);
  }

  [[nodiscard]] double ByLineSearch(const Ring& ring) const {
    const ContrastMap& map = in_.contrast;
    const double from_rim_um = ring.radius_um - map.cladding_radius_um;
    if (from_rim_um >= -kInsideRimUm && from_rim_um < kOutsideRimUm) return 0;
    const double seen = contrast_ * ring.level * seen_;
    const double plain = NormalCdf((seen / LeastLineDepth(map) - 1.0) / kFitSpread);
    const double threshold = in_.detect.line_threshold_sigma;
    if (from_rim_um < -kInsideRimUm) {
      return plain *
             std::max(InPass(ring, kFine, threshold), InPass(ring, kWide, threshold + kWideDoubt));
    }
    const double least =
        std::max(threshold + kFerruleDoubt, LeastBelievedLineSnr(map, ring.radius_um, seen));
    return plain * InPass(ring, kCoarse, least);
  }

  const SightInputs& in_;
  double contrast_;
  VisibleShape shape_;
  double blur_;                 // cells
  std::vector<Filter> specks_;  // by the detection's scales
  std::array<Filter, kLinePasses> lines_;
  double size_um_ = 0;
  double seen_ = 0;  // of a line with a contrast of 1
};

}  // namespace

std::optional<double> SmallestVisible(const SightInputs& in,
                                      const Zone& zone,
                                      const SightOptions& options,
                                      VisibleShape shape) {
  std::vector<Ring> rings = RingsOf(zone, in.contrast);
  Chance chance(in, options.stated_contrast, shape);
  if (shape == VisibleShape::kLine) {
    std::erase_if(rings, [&](const Ring& ring) {
      return std::abs(ring.radius_um - in.contrast.cladding_radius_um) < kOnRimUm;
    });
    for (Ring& ring : rings) chance.MeasureLineNoise(&ring);
  }
  double area = 0;
  for (const Ring& ring : rings) area += ring.area;
  const auto found = [&](double size_um) {
    constexpr double kRounding = 1e-9;  // of the sum
    chance.LookAt(size_um);
    double sum = 0;
    double left = area;
    for (const Ring& ring : rings) {
      sum += ring.area * chance.In(ring);
      left -= ring.area;
      // Whatever the rings to come are like.
      if (sum >= options.stated_rate * area) return true;
      if (sum + left < (options.stated_rate - kRounding) * area) return false;
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
