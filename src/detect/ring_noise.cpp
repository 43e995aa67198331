#include "detect/ring_noise.h"

#include "core/order_statistics.h"
#include "core/wide.h"
#include "detect/response.h"
#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <numeric>
#include <span>

namespace endgrade {
namespace {

// A response's noise is never believed to be below this share of the face's own brightness: the
// fitted clean face is no better than that, the less so over wide stretches, where a camera's
// compression and the light leave steps of a per cent. Times the threshold it is the faintest
// contrast that is called a feature: about 1.3 % for specks, 2.5 % for films. Chosen on the tuning
// pictures; an inspector sees no less.
constexpr double kModelFloor = 0.0020;
constexpr double kModelFloorPerUm = 0.0008;  // a micrometre of the scale's sigma
constexpr double kModelFloorMost = 0.0050;
constexpr double kStepFloor = 0.12;  // grey levels of 255
constexpr double kStepFloorPerUm = 0.10;
constexpr double kStepFloorMost = 0.45;

// Fewest independent places within a ring for a noise of its own; below it, the glass's is used.
constexpr double kLeastPlaces = 24.0;

// What is left at the rim once its ring is taken out is not noise but the rim's own unevenness: a
// chip must stand out of it by this much more.
constexpr double kRimDoubt = 1.5;
constexpr double kPastRimUm = 1.5;

// A single-mode core's bell is fitted, not known: its skirts leave more than noise.
constexpr double kCoreDoubt = 1.3;
constexpr double kCoreSkirtsUm = 6.0;
// Where something has an edge, compression rounds its finer coefficients, too: an error of every
// pixel of those blocks, in steps of a block's mean.
constexpr double kRoundingAtEdge = 0.45;
constexpr double kBlockPx = 8.0;

// A ring's noise over the glass's.
constexpr double kLeastOwn = 0.8;
constexpr double kMostOwn = 1.6;

// Grain is not Gaussian however well its spread is known.
constexpr double kFerruleDoubt = 1.15;

// Standard score that 1 % of a Gaussian lies above.
constexpr float kTailScore = 2.326F;
constexpr float kMostTail = 2.5F;

// How many of the values lie further out than `away`, to either side.
struct FarOut {
  std::int32_t below = 0;
  std::int32_t above = 0;
};

ENDGRADE_WIDE FarOut CountFarOut(const float* values, std::int32_t count, float away) {
  std::int32_t below = 0;
  std::int32_t above = 0;
  for (std::int32_t i = 0; i < count; ++i) {
    below += values[i] < -away ? 1 : 0;
    above += values[i] > away ? 1 : 0;
  }
  return {below, above};
}

// How much further than a Gaussian's the tails reach. Dirt stands out to one side, mostly; grain to
// both: the lesser of the two sides is the grain's.
float TailFactor(std::span<const float> values, float sigma) {
  if (values.size() < 2000 || sigma <= 0.0F) return 1.0F;
  const auto last = static_cast<double>(values.size() - 1);
  const auto lowest = static_cast<size_t>(0.01 * last);
  const size_t highest = values.size() - 1 - static_cast<size_t>(0.99 * last);  // from the top
  const float gaussian = kTailScore * sigma;
  const auto [below, above] =
      CountFarOut(values.data(), static_cast<std::int32_t>(values.size()), gaussian);
  if (static_cast<size_t>(below) <= lowest || static_cast<size_t>(above) <= highest) return 1.0F;
  // Both ranks are among what lies further out than a Gaussian's tails.
  std::vector<float> low;
  std::vector<float> high;
  low.reserve(static_cast<size_t>(below));
  high.reserve(static_cast<size_t>(above));
  for (const float value : values) {
    if (value < -gaussian) low.push_back(-value);
    if (value > gaussian) high.push_back(value);
  }
  const auto outermost = [](std::vector<float>& tail, size_t rank) {
    const auto place = tail.begin() + static_cast<std::ptrdiff_t>(rank);
    std::nth_element(tail.begin(), place, tail.end(), std::greater<>());
    return *place;
  };
  return std::clamp(
      std::min(outermost(low, lowest), outermost(high, highest)) / gaussian, 1.0F, kMostTail);
}

// The three materials whose noise is pooled where a ring of its own is too small to count.
enum Material : size_t { kGlass, kRim, kFerrule, kMaterials };

Material MaterialOf(double inner_um, double outer_um, double rim_um) {
  if (outer_um < rim_um - 4.5) return kGlass;
  return inner_um > rim_um + 5.5 ? kFerrule : kRim;
}

constexpr size_t kSectors = 8;

// By quarter of a micrometre from the centre, and sector: the bin of a sample.
struct BinTable {
  std::vector<std::int32_t> bins;
  std::int32_t last_quarter;  // stands for all beyond
};

// Every `stride`-th cell of a row of a response, from `first` on.
struct RowOfSamples {
  const float* band;
  const float* radius_um;
  std::int32_t first;
  std::int32_t stride;
  std::int32_t count;
  float middle_x;  // of the face
  float dy;        // from there
};

// The samples of one row, and of each the place in the table of bins: the quarter of a micrometre
// from the centre, and which eighth of the face they lie in. Returns whether any is too far off.
ENDGRADE_WIDE bool Sample(const RowOfSamples& row,
                          float furthest_um,
                          std::int32_t last_quarter,
                          float* __restrict values,
                          std::int32_t* __restrict places) {
  const float* const band = row.band + row.first;
  const float* const radius_um = row.radius_um + row.first;
  const std::int32_t side = row.dy > 0 ? 2 : 0;
  const float steep = std::abs(row.dy);
  std::int32_t too_far = 0;
  for (std::int32_t i = 0; i < row.count; ++i) {
    const std::int32_t at = i * row.stride;
    const float radius = radius_um[at];
    const std::int32_t quarter = std::min(static_cast<std::int32_t>(4.0F * radius), last_quarter);
    const float dx = static_cast<float>(row.first + at) - row.middle_x;
    const std::int32_t sector = (dx > 0 ? 1 : 0) + (std::abs(dx) > steep ? 4 : 0) + side;
    values[i] = band[at];
    places[i] = static_cast<std::int32_t>(kSectors) * quarter + sector;
    too_far |= radius >= furthest_um ? 1 : 0;
  }
  return too_far != 0;
}

using Sectors = std::array<std::span<const float>, kSectors>;

size_t Count(const Sectors& sectors) {
  size_t count = 0;
  for (const auto& sector : sectors) count += sector.size();
  return count;
}

// By a response's cells: 255 where its smoothing reached nothing that is hidden, whose residual is
// 0 and would pass for a face without noise. Empty: everywhere.
cv::Mat WhollySeen(const ContrastMap& map, const Response& response) {
  if (map.valid.empty()) return {};
  cv::Mat seen;
  cv::resize(map.valid, seen, response.band.size(), 0, 0, cv::INTER_AREA);
  seen = seen == 255;
  const int reach = static_cast<int>(std::ceil(response.sigma_cells / response.reduction));
  const cv::Size across(2 * reach + 1, 2 * reach + 1);
  cv::erode(seen, seen, cv::getStructuringElement(cv::MORPH_ELLIPSE, across));
  return seen;
}

// Numbers for the sectors of the rings, sorted by material, then sector.
class Bins {
 public:
  explicit Bins(const ContrastMap& map) {
    for (size_t i = 0; i + 1 < map.ring_edges_um.size(); ++i) {
      const Material material =
          MaterialOf(map.ring_edges_um[i], map.ring_edges_um[i + 1], map.cladding_radius_um);
      places_.push_back({material, rings_[material]++});
    }
    for (size_t m = 0; m + 1 < kMaterials; ++m) first_[m + 1] = first_[m] + kSectors * rings_[m];
  }

  [[nodiscard]] size_t count() const { return kSectors * places_.size(); }
  [[nodiscard]] size_t First(Material material, size_t sector) const {
    return first_[material] + sector * rings_[material];
  }
  [[nodiscard]] size_t Of(size_t ring, size_t sector) const {
    return First(places_[ring].material, sector) + places_[ring].in_material;
  }

  [[nodiscard]] BinTable ByQuarter(const ContrastMap& map) const {
    std::vector<std::int32_t> bins;
    bins.reserve(kSectors * (map.ring_by_quarter_um.size() + 1));
    const auto add = [&](size_t ring) {
      for (size_t s = 0; s < kSectors; ++s) bins.push_back(static_cast<std::int32_t>(Of(ring, s)));
    };
    for (const auto ring : map.ring_by_quarter_um) add(ring);
    add(places_.size() - 1);
    return {std::move(bins), static_cast<std::int32_t>(map.ring_by_quarter_um.size())};
  }

 private:
  struct Place {
    Material material;
    size_t in_material;  // which of its rings
  };
  std::vector<Place> places_;               // of each ring
  std::array<size_t, kMaterials> rings_{};  // of each material
  std::array<size_t, kMaterials> first_{};  // bin
};

// Values of a response's band at places spread evenly over the face, by material, sector and ring:
// those of a sector of a ring lie side by side, and so do those of a sector of a material.
class RingSamples {
 public:
  RingSamples(const ContrastMap& map, const Response& response, int stride) : bins_(map) {
    const cv::Mat seen = WhollySeen(map, response);
    const cv::Mat& band = response.band;
    const size_t most = band.total() / static_cast<size_t>(stride) + static_cast<size_t>(band.rows);
    const auto bins = std::make_unique_for_overwrite<std::int32_t[]>(most);
    const auto found = std::make_unique_for_overwrite<float[]>(most);
    const BinTable table = bins_.ByQuarter(map);
    const auto furthest_um = static_cast<float>(map.outer_um);
    const auto middle_x = static_cast<float>((map.centre_cell.x + 0.5) / response.reduction - 0.5);
    const auto middle_y = static_cast<float>((map.centre_cell.y + 0.5) / response.reduction - 0.5);
    size_t count = 0;
    for (int y = 0; y < band.rows; ++y) {
      const auto* radius_um = response.radius_um.ptr<float>(y);
      int first = (5 * y) % stride;
      int end = first + (band.cols - first + stride - 1) / stride * stride;
      while (first < end && radius_um[first] >= furthest_um) first += stride;
      while (first < end && radius_um[end - stride] >= furthest_um) end -= stride;
      const RowOfSamples row{band.ptr<float>(y),
                             radius_um,
                             first,
                             stride,
                             (end - first) / stride,
                             middle_x,
                             static_cast<float>(y) - middle_y};
      float* const row_found = found.get() + count;
      std::int32_t* const row_bins = bins.get() + count;  // places, until all are told
      const bool too_far = Sample(row, furthest_um, table.last_quarter, row_found, row_bins);
      if (too_far || !seen.empty()) {
        const auto* row_seen = seen.empty() ? nullptr : seen.ptr<std::uint8_t>(y);
        count += Keep(row, row_seen, furthest_um, row_found, row_bins);
      } else {
        count += static_cast<size_t>(row.count);
      }
    }
    first_.assign(bins_.count() + 1, 0);
    for (size_t i = 0; i < count; ++i) {
      bins[i] = table.bins[static_cast<size_t>(bins[i])];
      ++first_[static_cast<size_t>(bins[i]) + 1];
    }
    std::partial_sum(first_.begin(), first_.end(), first_.begin());
    values_ = std::make_unique_for_overwrite<float[]>(count);
    std::vector<std::uint32_t> next = first_;
    for (size_t i = 0; i < count; ++i) values_[next[static_cast<size_t>(bins[i])]++] = found[i];
  }

  [[nodiscard]] Sectors Ring(size_t ring) const {
    Sectors sectors;
    for (size_t s = 0; s < kSectors; ++s) {
      const size_t bin = bins_.Of(ring, s);
      sectors[s] = Between(bin, bin + 1);
    }
    return sectors;
  }

  [[nodiscard]] Sectors Of(Material material) const {
    Sectors sectors;
    for (size_t s = 0; s < kSectors; ++s) {
      sectors[s] = Between(bins_.First(material, s), bins_.First(material, s + 1));
    }
    return sectors;
  }

  [[nodiscard]] std::span<const float> AllOf(Material material) const {
    return Between(bins_.First(material, 0), bins_.First(material, kSectors));
  }

 private:
  [[nodiscard]] std::span<const float> Between(size_t first_bin, size_t end_bin) const {
    return {values_.get() + first_[first_bin], values_.get() + first_[end_bin]};
  }

  // Leaves out what is not seen or too far off, and says how many are left.
  static size_t Keep(const RowOfSamples& row,
                     const std::uint8_t* seen,
                     float furthest_um,
                     float* values,
                     std::int32_t* bins) {
    size_t count = 0;
    for (std::int32_t i = 0; i < row.count; ++i) {
      const std::int32_t column = row.first + i * row.stride;
      if (row.radius_um[column] >= furthest_um || (seen != nullptr && seen[column] == 0)) continue;
      values[count] = values[i];
      bins[count++] = bins[i];
    }
    return count;
  }

  Bins bins_;
  std::unique_ptr<float[]> values_;
  std::vector<std::uint32_t> first_;  // by bin: where its values begin
};

std::vector<float> Joined(const Sectors& sectors, size_t first, size_t step) {
  std::vector<float> values;
  for (size_t i = first; i < kSectors; i += step) {
    values.insert(values.end(), sectors[i].begin(), sectors[i].end());
  }
  return values;
}

// Sectors of one material are alike but for dirt. Where most are far noisier than the quietest, a
// smear or a film of dust covers most of the face, and the quiet ones tell the noise.
constexpr float kAlike = 1.6F;
constexpr size_t kQuiet = 1;  // from the quietest: the second, for the quietest may be so by chance

// Whether NoiseSigma is surely no more than `bound`. To count costs far less than to rank, and
// tells most of the sectors where a response's noise is below what is believed anyway.
ENDGRADE_WIDE bool SurelyWithin(const float* values, std::int32_t count, float bound) {
  constexpr float kRounding = 0.999F;  // of what ranking would compute
  constexpr float kMedianShare = 0.1F;
  const float median = kMedianShare * bound;  // no further from zero than this
  const float away = kRounding / 1.4826F * bound - median;
  const float tail = kRounding * 1.645F * bound;
  std::int32_t near = 0, below = 0, above = 0, far_below = 0, far_above = 0;
  for (std::int32_t i = 0; i < count; ++i) {
    near += std::abs(values[i]) <= away ? 1 : 0;
    below += values[i] < -median ? 1 : 0;
    above += values[i] > median ? 1 : 0;
    far_below += values[i] < -tail ? 1 : 0;
    far_above += values[i] > tail ? 1 : 0;
  }
  return near > count / 2 && below <= count / 2 && above <= count - 1 - count / 2 &&
         std::min(far_below, far_above) <= count / 20;
}

// The noise in most sectors: dirt in up to half of them does not count as noise. `places`: how many
// independent values there are in all; with few, sectors are joined. 0 where it would be no more
// than `settled`, as far as that is easily told.
float QuietSigma(const Sectors& sectors, double places, float settled) {
  const size_t parts = places >= 16.0 * kSectors ? kSectors : places >= 64.0 ? 4 : 1;
  std::array<std::vector<float>, kSectors> joined;
  std::array<std::span<const float>, kSectors> told;
  size_t count = 0;
  size_t within = 0;
  for (size_t part = 0; part < parts; ++part) {
    if (parts < kSectors) joined[part] = Joined(sectors, part, parts);
    const std::span<const float> values = parts < kSectors ? joined[part] : sectors[part];
    if (values.size() < 12) continue;
    told[count++] = values;
    const auto size = static_cast<std::int32_t>(values.size());
    within += SurelyWithin(values.data(), size, settled) ? 1 : 0;
  }
  if (count == 0 || within > (count - 1) / 2) return 0.0F;
  std::array<float, kSectors> sigmas{};
  std::transform(told.begin(), told.begin() + count, sigmas.begin(), NoiseSigma);
  std::sort(sigmas.begin(), sigmas.begin() + count);
  const float most = sigmas[(count - 1) / 2];
  return count < kSectors ? most : std::min(most, kAlike * sigmas[kQuiet]);
}

// table[4 r], the last beyond.
ENDGRADE_WIDE void LookUpQuarters(
    const float* radius_um, int count, const float* table, int last, float* __restrict found) {
  for (int i = 0; i < count; ++i) {
    found[i] = table[std::min(static_cast<int>(4.0F * radius_um[i]), last)];
  }
}

}  // namespace

void RingNoise::AtEach(const float* radius_um, int count, float* noise) const {
  const int last = static_cast<int>(by_quarter_um_.size()) - 1;
  LookUpQuarters(radius_um, count, by_quarter_um_.data(), last, noise);
}

RingNoise MeasureResponseNoise(const ContrastMap& map, const Response& response) {
  const auto& edges = map.ring_edges_um;
  const size_t count = edges.size() - 1;
  // Cells that share a smoothing are one independent value: a few samples of each are enough.
  const double cells = response.sigma_cells / response.reduction;
  const double correlated = 4.0 * CV_PI * cells * cells;
  // The finest scales have far more of them than are needed.
  const int stride = response.reduction == 1 ? std::clamp(static_cast<int>(correlated / 2.0), 1, 23)
                                             : std::clamp(static_cast<int>(correlated / 4.0), 1, 9);
  const double place = correlated / stride;  // samples of one independent value
  const RingSamples samples(map, response, stride);
  const double scale_um = response.sigma_cells * map.um_per_cell;
  const double share = std::min(kModelFloorMost, kModelFloor + kModelFloorPerUm * scale_um);
  // Steps of a grey level or two are rounding and compression, whatever they are a share of.
  const double steps =
      std::min(kStepFloorMost, kStepFloor + kStepFloorPerUm * scale_um) * map.white_level / 255.0;
  // Of the light that is there, or the glass's where that is less.
  const auto floor_for = [&](double light) {
    return static_cast<float>(std::max(steps, share * std::min(light, map.glass_level)));
  };
  const double least_light = *std::min_element(map.ring_level.begin(), map.ring_level.end());
  std::array<float, kMaterials> pooled{};
  std::array<double, kMaterials> tails{};
  for (const Material m : {kGlass, kRim, kFerrule}) {
    const double places = static_cast<double>(samples.AllOf(m).size()) / place;
    const float floor = floor_for(m == kFerrule ? least_light : map.glass_level);
    pooled[m] = std::max(floor, QuietSigma(samples.Of(m), places, floor));
    tails[m] = m == kRim ? kRimDoubt : 1.0;
    if (m == kGlass) continue;
    tails[m] *= static_cast<double>(TailFactor(samples.AllOf(m), pooled[m]));
    if (m == kFerrule) tails[m] *= kFerruleDoubt;
  }
  const bool single_mode = map.core_radius_um > 0 && map.core_radius_um < kLargestSingleModeUm;
  std::vector<double> sigmas(count);
  for (size_t i = 0; i < count; ++i) {
    const Material m = MaterialOf(edges[i], edges[i + 1], map.cladding_radius_um);
    const auto pool = static_cast<double>(pooled[m]);
    const double shot =
        map.glass_noise > 0 ? std::max(1.0, map.ring_noise[i] / map.glass_noise) : 1.0;
    sigmas[i] = pool * tails[m] * (m == kGlass ? shot : 1.0);
    sigmas[i] = std::max(sigmas[i], share * map.ring_level[i]);
    // Past the rim there is ferrule, whatever the rest of the ring is like.
    const double grain = m == kRim && edges[i] > map.cladding_radius_um + kPastRimUm
                             ? static_cast<double>(pooled[kFerrule]) * tails[kFerrule]
                             : 0.0;
    sigmas[i] = std::max(sigmas[i], grain);
    const Sectors ring = samples.Ring(i);
    const double places = static_cast<double>(Count(ring)) / place;
    if (places < kLeastPlaces) continue;
    const float floor = floor_for(m == kFerrule ? map.ring_level[i] : map.glass_level);
    // Even light makes the glass one population: a ring of it is not believed to be quieter.
    const double least = m == kGlass ? kLeastOwn * pool : 0.0;
    const float settled = std::max(floor, 0.999F * static_cast<float>(least));
    const float own = std::max(floor, QuietSigma(ring, places, settled));
    sigmas[i] = std::max(grain, static_cast<double>(own) * tails[m]);
    sigmas[i] = std::max(sigmas[i], least);
    // Nor, away from the core, much noisier.
    if (m == kGlass && edges[i] > map.core_radius_um + kCoreSkirtsUm) {
      sigmas[i] = std::min(sigmas[i], kMostOwn * pool * shot);
    }
    sigmas[i] = std::max(sigmas[i], share * map.ring_level[i]);
  }
  for (size_t i = 0; i < count && single_mode; ++i) {
    if (edges[i + 1] <= map.core_radius_um + kCoreSkirtsUm) sigmas[i] *= kCoreDoubt;
  }
  const double rounding =
      kRoundingAtEdge * map.block_step / std::max(1.0, response.sigma_cells * map.cell_px);
  const double block_um = kBlockPx / map.cell_px * map.um_per_cell;
  const auto at_edge = [&](size_t i, double radius_um, double reach_um) {
    return edges[i] <= radius_um + reach_um && edges[i + 1] >= radius_um - reach_um;
  };
  for (size_t i = 0; i < count; ++i) {
    const bool at_core = map.core_radius_um > 0 && at_edge(i, map.core_radius_um, 2.0);
    if (at_core || at_edge(i, map.cladding_radius_um, block_um)) {
      sigmas[i] = std::max(sigmas[i], rounding);
    }
  }
  return {map, std::move(sigmas)};
}

RingNoise::RingNoise(const ContrastMap& map, std::vector<double> sigmas)
    : sigmas_(std::move(sigmas)) {
  by_quarter_um_.reserve(map.ring_by_quarter_um.size());
  for (const auto ring : map.ring_by_quarter_um) {
    by_quarter_um_.push_back(static_cast<float>(sigmas_[ring]));
  }
}

RingNoise RingNoise::LeastWithin(double reach_um) const {
  RingNoise least = *this;
  const auto reach = static_cast<std::ptrdiff_t>(std::ceil(4.0 * reach_um)) + 1;
  const auto count = static_cast<std::ptrdiff_t>(by_quarter_um_.size());
  // Places within reach that nothing later and lower outdoes, lowest first.
  std::deque<std::ptrdiff_t> lowest;
  const auto at = [this](std::ptrdiff_t i) { return by_quarter_um_[static_cast<size_t>(i)]; };
  std::ptrdiff_t next = 0;
  for (std::ptrdiff_t i = 0; i < count; ++i) {
    for (; next <= std::min(count - 1, i + reach); ++next) {
      while (!lowest.empty() && at(lowest.back()) >= at(next)) lowest.pop_back();
      lowest.push_back(next);
    }
    while (lowest.front() < i - reach) lowest.pop_front();
    least.by_quarter_um_[static_cast<size_t>(i)] = at(lowest.front());
  }
  return least;
}

}  // namespace endgrade
