#include "flatten/cell_grid.h"

#include "core/gaussian.h"
#include "core/order_statistics.h"
#include "core/wide.h"

#include <opencv2/core/hal/hal.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <vector>

namespace endgrade {
namespace {

// One twentieth more than the finest cell is no worse, and spares a camera just above a whole part
// of it from four times the cells.
constexpr double kFinestRoom = 1.05;

// Cells no finer than the blur's sigma lose nothing: of a Gaussian's energy erf(pi * sigma / cell)
// lies below the Nyquist frequency, and all but 1e-5 where they are alike.
int CellSize(double um_per_px, double blur_um, const FlattenOptions& options) {
  const double wanted_um = std::max(kFinestRoom * options.finest_cell_um, blur_um);
  return std::max(1, static_cast<int>(std::floor(wanted_um / um_per_px)));
}

cv::Rect AlignedRegion(const cv::Rect& zones, int margin_px, int cell_px, cv::Size picture) {
  cv::Rect roi(zones.x - margin_px,
               zones.y - margin_px,
               zones.width + 2 * margin_px,
               zones.height + 2 * margin_px);
  roi &= cv::Rect(cv::Point(0, 0), picture);
  roi.width -= roi.width % cell_px;
  roi.height -= roi.height % cell_px;
  return roi;
}

// Sums of some lines, column by column.
template <typename Pixel>
[[gnu::always_inline]] inline void AddUp(
    const Pixel* lines, std::size_t step, int count, std::size_t columns, std::uint32_t* sums) {
  for (std::size_t x = 0; x < columns; ++x) sums[x] = lines[x];
  for (int line = 1; line < count; ++line) {
    lines += step;
    for (std::size_t x = 0; x < columns; ++x) sums[x] += lines[x];
  }
}

ENDGRADE_WIDE void AddUpLines(const std::uint8_t* lines,
                              std::size_t step,
                              int count,
                              std::size_t columns,
                              std::uint32_t* __restrict sums) {
  AddUp(lines, step, count, columns, sums);
}
ENDGRADE_WIDE void AddUpLines(const std::uint16_t* lines,
                              std::size_t step,
                              int count,
                              std::size_t columns,
                              std::uint32_t* __restrict sums) {
  AddUp(lines, step, count, columns, sums);
}

template <int kBlock>
[[gnu::always_inline]] inline void MeansOf(const std::uint32_t* sums,
                                           int count,
                                           float share,
                                           float* __restrict means) {
  for (int i = 0; i < count; ++i) {
    std::uint32_t sum = 0;
    for (int j = 0; j < kBlock; ++j) sum += sums[kBlock * i + j];
    means[i] = static_cast<float>(static_cast<std::int32_t>(sum)) * share;
  }
}

// Means of as many columns each; those of small blocks, which most pictures have, side by side.
ENDGRADE_WIDE void BlockMeansOf(
    const std::uint32_t* sums, int block, int count, float share, float* means) {
  if (block == 2) return MeansOf<2>(sums, count, share, means);
  if (block == 3) return MeansOf<3>(sums, count, share, means);
  if (block == 4) return MeansOf<4>(sums, count, share, means);
  for (int i = 0; i < count; ++i, sums += block) {
    means[i] = static_cast<float>(std::accumulate(sums, sums + block, 0U)) * share;
  }
}

// Means of blocks of `block` x `block` pixels, whose sums are exact.
template <typename Pixel>
cv::Mat BlockMeans(const cv::Mat& pixels, int block) {
  cv::Mat means(pixels.rows / block, pixels.cols / block, CV_32FC1);
  std::vector<std::uint32_t> columns(static_cast<size_t>(pixels.cols));
  const float share = 1.0F / static_cast<float>(block * block);
  for (int row = 0; row < means.rows; ++row) {
    const auto* lines = pixels.ptr<Pixel>(row * block);
    AddUpLines(lines, pixels.step1(), block, columns.size(), columns.data());
    BlockMeansOf(columns.data(), block, means.cols, share, means.ptr<float>(row));
  }
  return means;
}

// Squared distances along a row of cells.
struct RowOfCells {
  cv::Matx22f um_from_cell;
  float left;  // of its first cell, from the centre
  float dy;
};

ENDGRADE_WIDE void SquaredDistances(const RowOfCells& row, int count, float* __restrict squares) {
  const cv::Matx22f m = row.um_from_cell;
  for (int column = 0; column < count; ++column) {
    const float dx = row.left + static_cast<float>(column);
    const float x_um = m(0, 0) * dx + m(0, 1) * row.dy;
    const float y_um = m(1, 0) * dx + m(1, 1) * row.dy;
    squares[column] = x_um * x_um + y_um * y_um;
  }
}

// Whether SigmaAbout is surely no more than `bound`: counted, not ranked.
ENDGRADE_WIDE bool IsWithin(
    const float* values, std::int32_t count, float median, float per_away, float bound) {
  std::int32_t within = 0;
  for (std::int32_t i = 0; i < count; ++i) {
    within += per_away * std::abs(values[i] - median) <= bound ? 1 : 0;
  }
  return within > count / 2;
}

// Of a Gaussian, over the median of what lies away from its middle.
constexpr float kSigmaPerAway = 1.4826F;

}  // namespace

float MedianOf(std::span<const float> values) {
  if (values.empty()) return 0.0F;
  return OrderStatistics(values).At(values.size() / 2);
}

float SigmaAbout(float median, std::span<const float> values) {
  std::vector<float> away(values.size());
  for (size_t i = 0; i < values.size(); ++i) away[i] = std::abs(values[i] - median);
  return kSigmaPerAway * MedianOf(away);
}

float NoiseSigma(std::span<const float> values) {
  if (values.size() < 100) return SigmaAbout(MedianOf(values), values);
  constexpr float kScore = 1.645F;  // 5 % of a Gaussian lies above
  const size_t twentieth = values.size() / 20;
  OrderStatistics ranked(values);
  const float lower = -ranked.At(twentieth);
  const float upper = ranked.At(values.size() - 1 - twentieth);
  const float tails = std::min(lower, upper) / kScore;
  const float median = ranked.At(values.size() / 2);
  const auto count = static_cast<std::int32_t>(values.size());
  if (IsWithin(values.data(), count, median, kSigmaPerAway, tails)) return tails;
  return std::max(SigmaAbout(median, values), tails);
}

ContrastMap LayCells(const Frame& frame,
                     const FibreGeometry& fibre,
                     const Scale& scale,
                     const ZoneMap& zones,
                     const FlattenOptions& options) {
  ContrastMap map;
  map.white_level = frame.white_level;
  map.outer_um = zones.outer_um + options.margin_um;
  const double um_per_px = scale.um_per_px;
  map.cell_px = CellSize(um_per_px, fibre.blur_sigma_px * um_per_px, options);
  map.um_per_cell = um_per_px * map.cell_px;
  // The mean over a cell's pixels blurs as well: by its box less that of one pixel, which is in the
  // picture's own blur already.
  const double box_px = std::sqrt((map.cell_px * map.cell_px - 1) / 12.0);
  map.blur_sigma_cells = std::hypot(fibre.blur_sigma_px, box_px) / map.cell_px;
  map.blur_fwhm_cells = std::hypot(fibre.blur_fwhm_px, kFwhmPerSigma * box_px) / map.cell_px;
  map.roi_px = AlignedRegion(zones.roi_px,
                             static_cast<int>(std::ceil(options.margin_um / um_per_px)),
                             map.cell_px,
                             frame.luma.size());
  if (map.roi_px.width < map.cell_px || map.roi_px.height < map.cell_px) {
    map.roi_px = cv::Rect();
    return map;
  }

  const cv::Mat pixels = frame.luma(map.roi_px);
  if (map.cell_px == 1) {
    pixels.convertTo(map.level, CV_32F);
  } else if (pixels.depth() == CV_16U) {
    map.level = BlockMeans<std::uint16_t>(pixels, map.cell_px);
  } else {
    map.level = BlockMeans<std::uint8_t>(pixels, map.cell_px);
  }

  map.radius_um = cv::Mat(map.level.size(), CV_32FC1);
  map.centre_cell = map.CellFromPx(scale.centre_px);
  map.um_from_cell = scale.um_from_px * static_cast<double>(map.cell_px);
  for (int row = 0; row < map.level.rows; ++row) {
    auto* radius = map.radius_um.ptr<float>(row);
    SquaredDistances({cv::Matx22f(map.um_from_cell),
                      static_cast<float>(-map.centre_cell.x),
                      static_cast<float>(row - map.centre_cell.y)},
                     map.level.cols,
                     radius);
    cv::hal::sqrt32f(radius, radius, map.level.cols);
  }
  return map;
}

cv::Rect CellsWithin(const ContrastMap& map, double radius_um) {
  const cv::Matx22d spread = (map.um_from_cell.t() * map.um_from_cell).inv();
  const double half_x = radius_um * std::sqrt(spread(0, 0)) + 1.0;
  const double half_y = radius_um * std::sqrt(spread(1, 1)) + 1.0;
  const cv::Point first(cvFloor(map.centre_cell.x - half_x), cvFloor(map.centre_cell.y - half_y));
  const cv::Point last(cvCeil(map.centre_cell.x + half_x), cvCeil(map.centre_cell.y + half_y));
  return cv::Rect(first, last + cv::Point(1, 1)) & cv::Rect(cv::Point(0, 0), map.radius_um.size());
}

cv::Point2d ContrastMap::PxFromCell(cv::Point2d cell) const {
  const double middle = 0.5 * (cell_px - 1);
  return {roi_px.x + cell.x * cell_px + middle, roi_px.y + cell.y * cell_px + middle};
}

cv::Point2d ContrastMap::CellFromPx(cv::Point2d p_px) const {
  const double middle = 0.5 * (cell_px - 1);
  return {(p_px.x - roi_px.x - middle) / cell_px, (p_px.y - roi_px.y - middle) / cell_px};
}

}  // namespace endgrade
