#include "flatten/fringes.h"

#include "core/wide.h"
#include "flatten/cell_grid.h"

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

namespace endgrade {
namespace {

constexpr double kFromRimUm = 6.0;    // the glass looked at ends this far from its edge
constexpr double kCellUm = 0.5;       // cells are joined up to this: finer waves, blur hides
constexpr float kMostSigmas = 4.0F;   // dirt counts no more than this
constexpr double kLeastWaves = 4.0;   // across the glass; fewer may be uneven light
constexpr double kLeastPower = 60.0;  // over the median of waves about as long
constexpr double kMostContrast = 0.03;
constexpr int kSectors = 8;
constexpr int kLeastAlike = 7;
constexpr double kMostTurn = 0.9;    // radians, a sector's phase against that of the whole
constexpr double kLeastShare = 0.4;  // a sector's strength against that of the whole

// Residual over background on the glass, zero elsewhere and zero on average.
struct Glass {
  cv::Mat value;         // CV_32FC1, square
  cv::Mat sector;        // CV_8UC1: 0 to 7, once AddSectors has been there; 255 outside
  double count = 0;      // cells
  double reduction = 1;  // map cells a cell
  cv::Point2d origin;    // of cell (0, 0), map cells from the centre
};

// Adds residual over background of every `step`-th cell.
ENDGRADE_WIDE void AddContrast(const float* residual,
                               const float* background,
                               int count,
                               int step,
                               float most,
                               float* __restrict totals) {
  if (step == 1) {
    for (int i = 0; i < count; ++i) {
      totals[i] += std::min(most, std::max(-most, residual[i])) / std::max(1.0F, background[i]);
    }
    return;
  }
  for (int i = 0; i < count; ++i) {
    totals[i] +=
        std::min(most, std::max(-most, residual[i * step])) / std::max(1.0F, background[i * step]);
  }
}

// The steps from the middle of a disc's row that lie within its radius, to either side; none: -1.
int ReachOnRow(double radius, int dy) {
  const auto within = [&](double dx) { return dx * dx + dy * dy <= radius * radius; };
  if (!within(0)) return -1;
  int reach = static_cast<int>(std::sqrt(radius * radius - dy * dy));
  while (!within(reach)) --reach;
  while (within(reach + 1)) ++reach;
  return reach;
}

Glass ReadGlass(const ContrastMap& map) {
  Glass glass;
  const double radius_um = map.cladding_radius_um - kFromRimUm;
  const int reduction = std::clamp(static_cast<int>(kCellUm / map.um_per_cell), 1, 4);
  const int half = static_cast<int>(radius_um / map.um_per_cell / reduction);
  const int size = 2 * half + 1;
  glass.reduction = reduction;
  const int left = cvRound(map.centre_cell.x) - reduction * half;
  const int top = cvRound(map.centre_cell.y) - reduction * half;
  const double middle = 0.5 * (reduction - 1);
  glass.origin = cv::Point2d(left + middle, top + middle) - map.centre_cell;
  glass.value = cv::Mat::zeros(size, size, CV_32FC1);
  glass.sector = cv::Mat(size, size, CV_8UC1, cv::Scalar(255));
  const auto most = kMostSigmas * static_cast<float>(map.glass_noise);
  const auto cells = static_cast<float>(reduction * reduction);
  double sum = 0;
  const double most_cells = radius_um / map.um_per_cell / reduction;
  for (int y = 0; y < size; ++y) {
    const int first_row = top + y * reduction;
    if (first_row < 0 || first_row + reduction > map.residual.rows) continue;
    const int reach = ReachOnRow(most_cells, y - half);
    // Of those, the ones that lie wholly within the map.
    const int before = left < 0 ? (-left + reduction - 1) / reduction : 0;
    const int first = std::max(before, half - reach);
    const int last = std::min((map.residual.cols - left) / reduction - 1, half + reach);
    if (last < first) continue;
    const int count = last - first + 1;
    auto* value = glass.value.ptr<float>(y) + first;
    for (int j = 0; j < reduction; ++j) {
      const auto* residual = map.residual.ptr<float>(first_row + j) + left + first * reduction;
      const auto* background = map.background.ptr<float>(first_row + j) + left + first * reduction;
      for (int i = 0; i < reduction; ++i) {
        AddContrast(residual + i, background + i, count, reduction, most, value);
      }
    }
    for (int i = 0; i < count; ++i) {
      value[i] /= cells;
      sum += static_cast<double>(value[i]);
    }
    std::fill_n(glass.sector.ptr<uchar>(y) + first, count, uchar{0});
    glass.count += count;
  }
  if (glass.count > 0) {
    cv::subtract(glass.value, sum / glass.count, glass.value, glass.sector < kSectors);
  }
  return glass;
}

// Directions from the middle, which only a picture with stripes has a need for.
void AddSectors(Glass* glass) {
  const int half = glass->sector.rows / 2;
  for (int y = 0; y < glass->sector.rows; ++y) {
    for (int x = 0; x < glass->sector.cols; ++x) {
      auto& sector = glass->sector.at<uchar>(y, x);
      if (sector >= kSectors) continue;
      const double turn = std::atan2(y - half, x - half) / (2.0 * std::numbers::pi) + 0.5;
      sector = static_cast<uchar>(std::min(kSectors - 1, static_cast<int>(turn * kSectors)));
    }
  }
}

using Sums = std::array<std::complex<double>, kSectors>;

constexpr size_t kRowsAtOnce = 4;

// exp(-i phase) of some rows' cells.
struct Turns {
  std::vector<std::array<double, kRowsAtOnce>> cosine;
  std::vector<std::array<double, kRowsAtOnce>> sine;
};

// Each cell's turn is that of the cell before it, turned by `step`: rows side by side, for each
// waits for the one before.
ENDGRADE_WIDE void TurnRows(const std::array<std::complex<double>, kRowsAtOnce>& starts,
                            std::complex<double> step,
                            Turns* turns) {
  std::array<double, kRowsAtOnce> c{};
  std::array<double, kRowsAtOnce> s{};
  for (size_t row = 0; row < kRowsAtOnce; ++row) {
    c[row] = starts[row].real();
    s[row] = starts[row].imag();
  }
  const double step_c = step.real();
  const double step_s = step.imag();
  for (size_t x = 0; x < turns->cosine.size(); ++x) {
    turns->cosine[x] = c;
    turns->sine[x] = s;
    std::array<double, kRowsAtOnce> next_c{};
    std::array<double, kRowsAtOnce> next_s{};
    for (size_t row = 0; row < kRowsAtOnce; ++row) {
      next_c[row] = c[row] * step_c - s[row] * step_s;
      next_s[row] = c[row] * step_s + s[row] * step_c;
    }
    c = next_c;
    s = next_s;
  }
}

// Sums of value x exp(-i wave . cell) by sector; `wave` in radians a cell of `glass`, the phase
// from the map's centre.
Sums Correlate(const Glass& glass, cv::Point2d wave) {
  Sums sums{};
  const auto columns = static_cast<size_t>(glass.value.cols);
  Turns turns{std::vector<std::array<double, kRowsAtOnce>>(columns),
              std::vector<std::array<double, kRowsAtOnce>>(columns)};
  const std::complex<double> step = std::polar(1.0, -wave.x);
  for (int top = 0; top < glass.value.rows; top += static_cast<int>(kRowsAtOnce)) {
    std::array<std::complex<double>, kRowsAtOnce> starts;
    for (size_t row = 0; row < kRowsAtOnce; ++row) {
      const double y = top + static_cast<double>(row);
      const double start =
          (wave.x * glass.origin.x + wave.y * glass.origin.y) / glass.reduction + wave.y * y;
      starts[row] = std::polar(1.0, -start);
    }
    TurnRows(starts, step, &turns);
    const int rows = std::min(static_cast<int>(kRowsAtOnce), glass.value.rows - top);
    for (int row = 0; row < rows; ++row) {
      const auto* value = glass.value.ptr<float>(top + row);
      const auto* sector = glass.sector.ptr<uchar>(top + row);
      for (size_t x = 0; x < columns;) {
        const uchar here = sector[x];
        if (here >= kSectors) {
          ++x;
          continue;
        }
        double real = sums[here].real();
        double imaginary = sums[here].imag();
        for (; x < columns && sector[x] == here; ++x) {
          const auto v = static_cast<double>(value[x]);
          real += v * turns.cosine[x][static_cast<size_t>(row)];
          imaginary += v * turns.sine[x][static_cast<size_t>(row)];
        }
        sums[here] = {real, imaginary};
      }
    }
  }
  return sums;
}

std::complex<double> Total(const Sums& sums) {
  std::complex<double> total;
  for (const auto& sum : sums) total += sum;
  return total;
}

// Waves about as long as one another: the ring of each place in the transform's upper left quarter,
// by how many cycles a side it has along x and y. -1 where it has too few or too many.
class WaveRings {
 public:
  WaveRings(int side, double least_cycles) : half_(side / 2) {
    rings_.reserve(static_cast<size_t>(half_ + 1) * static_cast<size_t>(half_ + 1));
    for (int y = 0; y <= half_; ++y) {
      for (int x = 0; x <= half_; ++x) {
        const double cycles = std::sqrt(static_cast<double>(x * x + y * y));
        const bool in = cycles >= least_cycles && cycles < half_;
        rings_.push_back(in ? static_cast<std::int16_t>(cycles / kCyclesOfRing) : kNone);
      }
    }
  }
  // Those of a row, by cycles along x, of as many rings as Count().
  [[nodiscard]] const std::int16_t* Row(int y_cycles) const {
    return rings_.data() + static_cast<size_t>(y_cycles) * static_cast<size_t>(half_ + 1);
  }
  [[nodiscard]] size_t Count() const { return static_cast<size_t>(half_ / kCyclesOfRing) + 1; }

 private:
  static constexpr int kCyclesOfRing = 3;
  static constexpr std::int16_t kNone = -1;

  int half_;
  std::vector<std::int16_t> rings_;
};

// The wave that stands out most, in cycles a side of the transform; nothing if none does. `power`:
// the transform's rows up to the middle, which hold each wave once.
std::optional<cv::Point> Strongest(const cv::Mat& power, double least_cycles) {
  const int side = power.cols;
  const WaveRings rings(side, least_cycles);
  const auto for_each = [&](const auto& use) {
    for (int y = 0; y < power.rows; ++y) {
      const auto* row = power.ptr<float>(y);
      const std::int16_t* ring_of = rings.Row(y);
      for (int x = 0; x < side; ++x) {
        const int ring = ring_of[std::min(x, side - x)];
        if (ring >= 0) use(static_cast<size_t>(ring), row[x], x, y);
      }
    }
  };
  std::vector<size_t> counts(rings.Count(), 0);
  for_each([&](size_t ring, float, int, int) { ++counts[ring]; });
  std::vector<std::vector<float>> by_ring(rings.Count());
  std::vector<float*> next(rings.Count());
  for (size_t ring = 0; ring < counts.size(); ++ring) {
    by_ring[ring].resize(counts[ring]);
    next[ring] = by_ring[ring].data();
  }
  for_each([&](size_t ring, float here, int, int) { *next[ring]++ = here; });
  std::vector<float> usual;
  float most = 0;
  for (const auto& ring : by_ring) {
    usual.push_back(ring.empty() ? 0.0F : MedianOf(ring));
    if (usual.back() <= 0) continue;
    most = std::max(most, *std::max_element(ring.begin(), ring.end()) / usual.back());
  }
  if (static_cast<double>(most) < kLeastPower) return std::nullopt;
  std::optional<cv::Point> best;
  for_each([&](size_t ring, float here, int x, int y) {
    if (!best && usual[ring] > 0 && here / usual[ring] == most)
      best = {x <= side / 2 ? x : x - side, y};
  });
  return best;
}

// Between the steps of the transform, by parabolas through neighbouring waves.
cv::Point2d Refine(const Glass& glass, cv::Point2d wave, double step) {
  const auto strength = [&](cv::Point2d at) { return std::abs(Total(Correlate(glass, at))); };
  for (int round = 0; round < 3; ++round, step *= 0.4) {
    const double here = strength(wave);
    const auto move = [&](cv::Point2d along) {
      const double before = strength(wave - along);
      const double after = strength(wave + along);
      const double bend = before - 2.0 * here + after;
      return bend < 0 ? std::clamp(0.5 * (before - after) / bend, -1.0, 1.0) : 0.0;
    };
    const double x = move({step, 0});
    const double y = move({0, step});
    wave += cv::Point2d(x * step, y * step);
  }
  return wave;
}

// Whether nearly every sector shows the same wave, with the same phase.
bool EvenAllOver(const Glass& glass, const Sums& sums) {
  const std::complex<double> total = Total(sums);
  std::array<double, kSectors> count{};
  for (int y = 0; y < glass.sector.rows; ++y) {
    for (int x = 0; x < glass.sector.cols; ++x) {
      if (glass.sector.at<uchar>(y, x) < kSectors) count[glass.sector.at<uchar>(y, x)] += 1;
    }
  }
  int alike = 0;
  for (size_t s = 0; s < kSectors; ++s) {
    const double expected = std::abs(total) * count[s] / glass.count;
    const double turn = std::abs(std::arg(sums[s] * std::conj(total)));
    alike += turn < kMostTurn && std::abs(sums[s]) > kLeastShare * expected ? 1 : 0;
  }
  return alike >= kLeastAlike;
}

ENDGRADE_WIDE void TakeOffRow(const float* wave, int count, float* background, float* residual) {
  for (int x = 0; x < count; ++x) {
    const float stripes = background[x] * wave[x];
    background[x] += stripes;
    residual[x] -= stripes;
  }
}

}  // namespace

std::optional<Fringes> FindFringes(const ContrastMap& map) {
  Glass glass = ReadGlass(map);
  if (glass.count < 1000) return std::nullopt;
  const int side = cv::getOptimalDFTSize(glass.value.rows);
  cv::Mat padded = cv::Mat::zeros(side, side, CV_32FC1);
  glass.value.copyTo(padded(cv::Rect(0, 0, glass.value.cols, glass.value.rows)));
  cv::Mat spectrum;
  cv::dft(padded, spectrum, cv::DFT_COMPLEX_OUTPUT, glass.value.rows);
  std::array<cv::Mat, 2> parts;
  cv::split(spectrum.rowRange(0, side / 2 + 1), parts.data());
  cv::Mat power = parts[0].mul(parts[0]) + parts[1].mul(parts[1]);
  const auto strongest = Strongest(power, kLeastWaves * side / glass.value.rows);
  if (!strongest) return std::nullopt;
  AddSectors(&glass);
  const double unit = 2.0 * std::numbers::pi / side;
  const cv::Point2d wave =
      Refine(glass, cv::Point2d(strongest->x * unit, strongest->y * unit), 0.5 * unit);
  const Sums sums = Correlate(glass, wave);
  if (!EvenAllOver(glass, sums)) return std::nullopt;
  const std::complex<double> mean = Total(sums) * (2.0 / glass.count);
  if (std::abs(mean) > kMostContrast) return std::nullopt;
  return Fringes{wave * (1.0 / glass.reduction), mean.real(), -mean.imag()};
}

void TakeOffFringes(const Fringes& fringes, ContrastMap* map) {
  std::vector<float> wave(static_cast<size_t>(map->residual.cols));
  const auto furthest = static_cast<float>(map->outer_um);
  for (int y = 0; y < map->residual.rows; ++y) {
    const double start =
        -fringes.wave.x * map->centre_cell.x + fringes.wave.y * (y - map->centre_cell.y);
    std::complex<double> turn = std::polar(1.0, start);
    const std::complex<double> step = std::polar(1.0, fringes.wave.x);
    const auto* radius = map->radius_um.ptr<float>(y);
    for (size_t x = 0; x < wave.size(); ++x, turn *= step) {
      wave[x] = radius[x] < furthest
                    ? static_cast<float>(fringes.cosine * turn.real() + fringes.sine * turn.imag())
                    : 0.0F;
    }
    TakeOffRow(wave.data(),
               map->residual.cols,
               map->background.ptr<float>(y),
               map->residual.ptr<float>(y));
  }
}

}  // namespace endgrade
