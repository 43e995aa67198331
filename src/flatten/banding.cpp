#include "flatten/banding.h"

#include "flatten/cell_grid.h"

#include <algorithm>
#include <cmath>
#include <span>
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
// Stronger ones might be the lay of a polish: they must be the same to the left of the fibre and to
// its right, row by row, which nothing on a face is.
constexpr double kMostStrongShare = 0.1;
constexpr double kLeastAlike = 0.8;  // correlation
constexpr double kOutsideRimUm = 6.0;
constexpr float kSigmaOfMad = 1.4826F;
constexpr double kMedianError = 1.2533;  // of a Gaussian's median, over sigma / sqrt(count)

// The part of the glass that tells a row's offset.
struct Ring {
  double from_um, to_um;
};

// Copies the values whose radius lies within the ring; returns how many. Every value is written and
// the next one over it, unless it is kept: no branch that cannot be foretold.
size_t CopyWithin(
    const Ring& ring, const float* values, const float* radius_um, int count, float* kept) {
  size_t found = 0;
  for (int i = 0; i < count; ++i) {
    const auto r = static_cast<double>(radius_um[i]);
    kept[found] = values[i];
    found += static_cast<size_t>(r < ring.to_um) & static_cast<size_t>(r > ring.from_um);
  }
  return found;
}

// Median residual of each row's glass; 0 where there is too little of it. A slow change from row to
// row is the face's or the light's: taken out by the median of the neighbours.
struct Offsets {
  std::vector<float> of_row;
  double usual = 0;     // robust standard deviation
  double by_noise = 0;  // what noise alone would make it
};

// Takes in some rows of cells after those that it has.
class RowOffsets {
 public:
  RowOffsets(int rows, const Ring& ring, double noise) : ring_(ring), noise_(noise) {
    medians_.reserve(static_cast<size_t>(rows));
    told_.reserve(static_cast<size_t>(rows));
  }

  void Add(const cv::Mat& residual, const cv::Mat& radius_um) {
    values_.resize(static_cast<size_t>(residual.cols) + 1);
    for (int y = 0; y < residual.rows; ++y) {
      const size_t count = CopyWithin(
          ring_, residual.ptr<float>(y), radius_um.ptr<float>(y), residual.cols, values_.data());
      told_.push_back(count >= kLeastCells);
      medians_.push_back(told_.back() ? MedianOf(std::span(values_).first(count)) : 0.0F);
      if (told_.back()) errors_ += kMedianError * noise_ / std::sqrt(static_cast<double>(count));
    }
  }

  // Rows that have no cell of the ring.
  void AddEmpty(int rows) {
    told_.insert(told_.end(), static_cast<size_t>(rows), false);
    medians_.insert(medians_.end(), static_cast<size_t>(rows), 0.0F);
  }

  [[nodiscard]] Offsets Read() const;

 private:
  Ring ring_;
  double noise_;
  std::vector<float> values_;
  std::vector<float> medians_;
  std::vector<bool> told_;
  double errors_ = 0;
};

Offsets RowOffsets::Read() const {
  constexpr size_t kNeighbours = 7;
  Offsets offsets;
  const size_t rows = medians_.size();
  std::vector<float> values;
  offsets.of_row.assign(rows, 0.0F);
  std::vector<float> sizes;
  for (size_t y = 0; y < rows; ++y) {
    if (!told_[y]) continue;
    values.clear();
    const size_t first = y - std::min(y, kNeighbours);
    for (size_t i = first; i <= std::min(rows - 1, y + kNeighbours); ++i) {
      if (told_[i]) values.push_back(medians_[i]);
    }
    offsets.of_row[y] = medians_[y] - MedianOf(values);
    sizes.push_back(std::abs(offsets.of_row[y]));
  }
  if (sizes.size() < kLeastRows) return offsets;
  offsets.by_noise = errors_ / static_cast<double>(sizes.size());
  offsets.usual = static_cast<double>(kSigmaOfMad * MedianOf(sizes));
  return offsets;
}

Ring GlassOf(const ContrastMap& map) {
  return {kAroundCoreUm, map.cladding_radius_um - kWithinRimUm};
}

Ring FerruleOf(const ContrastMap& map) {
  return {map.cladding_radius_um + kOutsideRimUm, map.outer_um};
}

// Of the columns named.
Offsets OffsetsOfRows(const ContrastMap& map, const Ring& ring, cv::Range columns) {
  const cv::Rect box = CellsWithin(map, ring.to_um);
  const cv::Range within = cv::Range(box.x, box.br().x) & columns;
  const cv::Rect part(within.start, box.y, std::max(0, within.size()), box.height);
  RowOffsets offsets(map.residual.rows, ring, map.glass_noise);
  offsets.AddEmpty(part.y);
  offsets.Add(map.residual(part), map.radius_um(part));
  offsets.AddEmpty(map.residual.rows - part.br().y);
  return offsets.Read();
}

// Some columns at a time are turned into rows: turned whole, both maps cost their memory again.
// Of the rows named.
Offsets OffsetsOfColumns(const ContrastMap& map, const Ring& ring, cv::Range rows) {
  constexpr int kColumns = 32;
  const cv::Rect box = CellsWithin(map, ring.to_um);
  const cv::Range within = cv::Range(box.y, box.br().y) & rows;
  RowOffsets offsets(map.residual.cols, ring, map.glass_noise);
  cv::Mat residual;
  cv::Mat radius_um;
  offsets.AddEmpty(box.x);
  for (int x = box.x; x < box.br().x; x += kColumns) {
    const int count = std::min(kColumns, box.br().x - x);
    if (within.empty()) {
      offsets.AddEmpty(count);
      continue;
    }
    const cv::Rect part(x, within.start, count, within.size());
    cv::transpose(map.residual(part), residual);
    cv::transpose(map.radius_um(part), radius_um);
    offsets.Add(residual, radius_um);
  }
  offsets.AddEmpty(map.residual.cols - box.br().x);
  return offsets.Read();
}

double Correlation(const std::vector<float>& a, const std::vector<float>& b) {
  double aa = 0;
  double ab = 0;
  double bb = 0;
  for (size_t i = 0; i < a.size(); ++i) {
    aa += static_cast<double>(a[i]) * static_cast<double>(a[i]);
    ab += static_cast<double>(a[i]) * static_cast<double>(b[i]);
    bb += static_cast<double>(b[i]) * static_cast<double>(b[i]);
  }
  return aa > 0 && bb > 0 ? ab / std::sqrt(aa * bb) : 0.0;
}

// Whether both sides of the ferrule, left and right of the fibre or over and under it, tell the
// same offsets.
bool SidesAgree(const ContrastMap& map, bool by_row) {
  const Ring ferrule = FerruleOf(map);
  const auto along = by_row ? map.centre_cell.x : map.centre_cell.y;
  const int all = by_row ? map.residual.cols : map.residual.rows;
  const int middle = std::clamp(cvRound(along), 0, all);
  const cv::Range before(0, middle);
  const cv::Range after(middle, all);
  const auto read = by_row ? OffsetsOfRows : OffsetsOfColumns;
  return Correlation(read(map, ferrule, before).of_row, read(map, ferrule, after).of_row) >=
         kLeastAlike;
}

// The noise of a cell holds the bands themselves: offsets the other way are the better measure
// where they are less than noise should make them.
bool AreBands(const ContrastMap& map, const Offsets& offsets, const Offsets& across, bool by_row) {
  const bool over_noise = offsets.usual > kLeastTimes * offsets.by_noise;
  const bool one_way =
      offsets.usual > offsets.by_noise && offsets.usual > kLeastTimesAcross * across.usual;
  if (!over_noise && !one_way) return false;
  if (offsets.usual < kMostShare * map.glass_level) return true;
  return offsets.usual < kMostStrongShare * map.glass_level && SidesAgree(map, by_row);
}

float Held(float offset, double usual) {
  const auto most = static_cast<float>(kMostTimes * usual);
  return std::clamp(offset, -most, most);
}

}  // namespace

bool TakeOffBanding(ContrastMap* map) {
  if (map->residual.empty() || map->glass_noise <= 0) return false;
  const Ring glass = GlassOf(*map);
  const Offsets rows = OffsetsOfRows(*map, glass, cv::Range(0, map->residual.cols));
  const Offsets columns = OffsetsOfColumns(*map, glass, cv::Range(0, map->residual.rows));
  const bool by_row = AreBands(*map, rows, columns, true);
  const bool by_column = AreBands(*map, columns, rows, false);
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
