#include "flatten/banding.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr double kWithinRimUm = 4.0;    // the rim itself is left out
constexpr double kAroundCoreUm = 14.0;  // so is what lights up around a core
constexpr size_t kLeastCells = 40;      // of a row, to tell its offset
constexpr size_t kLeastRows = 24;
constexpr double kLeastTimes = 2.5;  // the usual offset over what noise makes of it
constexpr double kLeastTimesAcross = 3.0;
constexpr double kMostTimes = 3.0;   // an offset over the usual one
constexpr double kMostShare = 0.03;  // the usual offset over the glass's brightness
constexpr float kSigmaOfMad = 1.4826F;
constexpr double kMedianError = 1.2533;  // of a Gaussian's median, over sigma / sqrt(count)

float MedianOf(std::vector<float>* values) {
  const auto middle = values->begin() + static_cast<std::ptrdiff_t>(values->size() / 2);
  std::nth_element(values->begin(), middle, values->end());
  return *middle;
}

// Median residual of each row's glass; 0 where there is too little of it. A slow change from row to
// row is the face's or the light's: taken out by the median of the neighbours.
struct Offsets {
  std::vector<float> of_row;
  double usual = 0;     // robust standard deviation
  double by_noise = 0;  // what noise alone would make it
};

Offsets Measure(const cv::Mat& residual, const cv::Mat& radius_um, double rim_um, double noise) {
  constexpr int kNeighbours = 7;
  Offsets offsets;
  const auto rows = static_cast<size_t>(residual.rows);
  std::vector<float> medians(rows, 0.0F);
  std::vector<bool> told(rows, false);
  std::vector<float> values;
  double errors = 0;
  for (int y = 0; y < residual.rows; ++y) {
    values.clear();
    const auto* row = residual.ptr<float>(y);
    const auto* radius = radius_um.ptr<float>(y);
    for (int x = 0; x < residual.cols; ++x) {
      const auto r = static_cast<double>(radius[x]);
      if (r < rim_um - kWithinRimUm && r > kAroundCoreUm) values.push_back(row[x]);
    }
    if (values.size() < kLeastCells) continue;
    errors += kMedianError * noise / std::sqrt(static_cast<double>(values.size()));
    medians[static_cast<size_t>(y)] = MedianOf(&values);
    told[static_cast<size_t>(y)] = true;
  }
  offsets.of_row.assign(rows, 0.0F);
  std::vector<float> sizes;
  for (int y = 0; y < residual.rows; ++y) {
    if (!told[static_cast<size_t>(y)]) continue;
    values.clear();
    for (int i = std::max(0, y - kNeighbours); i <= std::min(residual.rows - 1, y + kNeighbours);
         ++i) {
      if (told[static_cast<size_t>(i)]) values.push_back(medians[static_cast<size_t>(i)]);
    }
    const float offset = medians[static_cast<size_t>(y)] - MedianOf(&values);
    offsets.of_row[static_cast<size_t>(y)] = offset;
    sizes.push_back(std::abs(offset));
  }
  if (sizes.size() < kLeastRows) return offsets;
  offsets.by_noise = errors / static_cast<double>(sizes.size());
  offsets.usual = static_cast<double>(kSigmaOfMad * MedianOf(&sizes));
  return offsets;
}

// The noise of a cell holds the bands themselves: offsets the other way are the better measure
// where they are less than noise should make them.
bool AreBands(const Offsets& offsets, const Offsets& across, double glass_level) {
  const bool over_noise = offsets.usual > kLeastTimes * offsets.by_noise;
  const bool one_way =
      offsets.usual > offsets.by_noise && offsets.usual > kLeastTimesAcross * across.usual;
  return (over_noise || one_way) && offsets.usual < kMostShare * glass_level;
}

float Held(float offset, double usual) {
  const auto most = static_cast<float>(kMostTimes * usual);
  return std::clamp(offset, -most, most);
}

}  // namespace

bool TakeOffBanding(ContrastMap* map) {
  if (map->residual.empty() || map->glass_noise <= 0) return false;
  const Offsets rows =
      Measure(map->residual, map->radius_um, map->cladding_radius_um, map->glass_noise);
  const Offsets columns =
      Measure(map->residual.t(), map->radius_um.t(), map->cladding_radius_um, map->glass_noise);
  const bool by_row = AreBands(rows, columns, map->glass_level);
  const bool by_column = AreBands(columns, rows, map->glass_level);
  if (!by_row && !by_column) return false;
  for (int y = 0; y < map->residual.rows; ++y) {
    auto* residual = map->residual.ptr<float>(y);
    auto* background = map->background.ptr<float>(y);
    const float row = by_row ? Held(rows.of_row[static_cast<size_t>(y)], rows.usual) : 0.0F;
    for (int x = 0; x < map->residual.cols; ++x) {
      const float column =
          by_column ? Held(columns.of_row[static_cast<size_t>(x)], columns.usual) : 0.0F;
      residual[x] -= row + column;
      background[x] += row + column;
    }
  }
  return true;
}

}  // namespace endgrade
