#include "sight/clipping.h"

#include "flatten/cell_grid.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <limits>

namespace endgrade {
namespace {

constexpr int kLevels = 256;
using Histogram = std::array<double, kLevels>;

// A plateau below the file's own white: this bright, shared by this much of the zone, and standing
// out this much over the levels on either side.
constexpr int kDarkestPlateau = 190;
constexpr double kPlateauShare = 0.2;
constexpr double kOverBelow = 4.0;
constexpr double kOverAbove = 10.0;

// Coloured light is clipped in one channel or two, at any brightness. Noise of kLeastNoise levels
// leaves at most 0.47 of the pixels on one level: more are not what the sensor saw.
constexpr double kFlatShare = 0.6;
constexpr double kLeastNoise = 0.8;
// Glass may be even where a camera smooths, a ferrule's grain is not: of one level over so much of
// a zone it is clipped, whatever level a colour mix or a file has made of its white.
constexpr double kEvenShare = 0.97;
constexpr double kCladdingUm = 125.0;

// Where the run of equal labels that begins at `x` ends.
int EndOfRun(const std::uint8_t* label, int x, int width) {
  constexpr int kStride = 8;
  const std::uint64_t alike = 0x0101010101010101U * label[x];
  int end = x + 1;
  for (std::uint64_t next = 0; end + kStride <= width; end += kStride) {
    std::memcpy(&next, label + end, sizeof next);
    if (next != alike) break;
  }
  while (end < width && label[end] == label[x]) ++end;
  return end;
}

// The level from 0, black, to 255, the file's white. Only those two ends hold what is exactly
// there.
template <typename Pixel>
std::vector<std::uint8_t> LevelOfValue(double white) {
  std::vector<std::uint8_t> level(size_t{std::numeric_limits<Pixel>::max()} + 1, kLevels - 1);
  const auto most = static_cast<size_t>(std::ceil(white));
  level[0] = 0;
  for (size_t value = 1; value < std::min(most, level.size()); ++value) {
    const double scaled = std::floor(static_cast<double>(value) * kLevels / (white + 1.0));
    level[value] = static_cast<std::uint8_t>(std::clamp(scaled, 1.0, kLevels - 2.0));
  }
  return level;
}

// How often each value occurs. Tables in turn: neighbours of one value would wait for each other.
template <typename Pixel>
class ValueCounts {
 public:
  void Add(const Pixel* values, int count) {
    int i = 0;
    for (; i + kTables <= count; i += kTables) {
      for (int j = 0; j < kTables; ++j) ++tables_[j * kValues + values[i + j]];
    }
    for (; i < count; ++i) ++tables_[values[i]];
  }
  [[nodiscard]] double Of(size_t value) const {
    double count = 0;
    for (size_t j = 0; j < kTables; ++j) count += tables_[j * kValues + value];
    return count;
  }

  static constexpr size_t kValues = size_t{std::numeric_limits<Pixel>::max()} + 1;

 private:
  static constexpr int kTables = sizeof(Pixel) == 1 ? 8 : 2;
  std::vector<std::uint32_t> tables_ = std::vector<std::uint32_t>(kTables * kValues);
};

template <typename Pixel>
std::vector<Histogram> CountLevels(const SightInputs& in, const cv::Mat& luma) {
  std::vector<ValueCounts<Pixel>> values(in.limits.zones.size());
  for (int y = 0; y < luma.rows; ++y) {
    const auto* value = luma.ptr<Pixel>(y);
    const auto* label = in.zones.labels.ptr<std::uint8_t>(y);
    // A row crosses each zone in a run or two.
    for (int x = 0; x < luma.cols;) {
      const int end = EndOfRun(label, x, luma.cols);
      if (label[x] != ZoneMap::kOutside) values[label[x]].Add(value + x, end - x);
      x = end;
    }
  }
  const std::vector<std::uint8_t> level = LevelOfValue<Pixel>(in.frame.white_level);
  std::vector<Histogram> counts(values.size(), Histogram{});
  for (size_t zone = 0; zone < counts.size(); ++zone) {
    for (size_t i = 0; i < level.size(); ++i) counts[zone][level[i]] += values[zone].Of(i);
  }
  return counts;
}

// Noise of one pixel of the glass, by what neighbours differ: shading does not count, nor what a
// file's compression gives neighbours in common.
template <typename Pixel>
double NoiseOfNeighbours(const SightInputs& in, const cv::Mat& luma) {
  const float reach_um = 0.9F * static_cast<float>(in.contrast.cladding_radius_um);
  std::vector<float> differences;
  for (int y = 0; y < in.contrast.level.rows; ++y) {
    const auto* radius = in.contrast.radius_um.ptr<float>(y);
    for (int x = (5 * y) % 7; x < in.contrast.level.cols; x += 7) {
      if (radius[x] > reach_um) continue;
      const cv::Point px =
          cv::Point(in.contrast.PxFromCell(cv::Point2d(x, y))) - in.zones.roi_px.tl();
      if (px.x < 0 || px.y < 0 || px.x + 1 >= luma.cols || px.y >= luma.rows) continue;
      const auto* value = luma.ptr<Pixel>(px.y) + px.x;
      differences.push_back(static_cast<float>(value[1]) - static_cast<float>(value[0]));
    }
  }
  return static_cast<double>(NoiseSigma(differences)) / std::sqrt(2.0);
}

// Of one pixel on the glass, levels of a histogram.
double PixelNoise(const SightInputs& in, const cv::Mat& luma) {
  // What looks like noise of a file that rounds its blocks coarsely leaves each of them even.
  if (in.contrast.least_depth > 0) return 0.0;
  double noise = in.contrast.glass_noise * in.contrast.cell_px;
  if (in.contrast.cell_px > 1) {
    // Means of several pixels have less noise than these only where it is each pixel's own.
    const double seen = luma.depth() == CV_16U ? NoiseOfNeighbours<std::uint16_t>(in, luma)
                                               : NoiseOfNeighbours<std::uint8_t>(in, luma);
    noise = std::min(noise, seen);
  }
  return noise * (kLevels - 1) / std::max(1.0, in.frame.white_level);
}

// The lowest level that is clipped white. `noise`: of one pixel on the glass, levels.
int WhiteOf(const Histogram& count, double total, double noise, bool on_ferrule) {
  const auto even = std::max_element(count.begin() + 1, count.end());
  if (on_ferrule && *even >= kEvenShare * total) return static_cast<int>(even - count.begin());
  if (noise >= kLeastNoise) {
    const auto flat = std::max_element(count.begin() + 1, count.end());
    if (*flat >= kFlatShare * total) return static_cast<int>(flat - count.begin());
  }
  const auto brightest = std::max_element(count.begin() + kDarkestPlateau, count.end());
  const auto at = static_cast<size_t>(brightest - count.begin());
  if (at + 1 >= kLevels) return kLevels - 1;
  double above = 0;
  for (size_t i = at + 1; i < kLevels; ++i) above += count[i];
  const bool plateau = *brightest >= kPlateauShare * total &&
                       *brightest >= kOverBelow * count[at - 1] && *brightest >= kOverAbove * above;
  return plateau ? static_cast<int>(at) : kLevels - 1;
}

}  // namespace

std::vector<double> ClippedByZone(const SightInputs& in, double* overall) {
  const cv::Mat luma = in.frame.luma(in.zones.roi_px);
  const std::vector<Histogram> counts = luma.depth() == CV_16U
                                            ? CountLevels<std::uint16_t>(in, luma)
                                            : CountLevels<std::uint8_t>(in, luma);
  const double noise = PixelNoise(in, luma);
  std::vector<double> clipped;
  double all_clipped = 0;
  double all = 0;
  for (size_t zone = 0; zone < counts.size(); ++zone) {
    const Histogram& count = counts[zone];
    const bool on_ferrule = in.limits.zones[zone].inner_diameter_um >= kCladdingUm;
    double total = 0;
    for (const double n : count) total += n;
    double ends = count[0];
    for (size_t i = static_cast<size_t>(WhiteOf(count, total, noise, on_ferrule)); i < kLevels; ++i)
      ends += count[i];
    all_clipped += ends;
    all += total;
    clipped.push_back(total > 0 ? ends / total : 0.0);
  }
  *overall = all > 0 ? all_clipped / all : 0.0;
  return clipped;
}

}  // namespace endgrade
