#include "sight/strips.h"

#include "core/wide.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <vector>

namespace endgrade {
namespace {

constexpr int kDirections = 12;
constexpr int kApart = 5;  // between the middles of two: blur and a border's waviness
constexpr float kLeastFilled = 0.75F;

// Places to 1/32 of a cell, in steps of 1/1024 as they are added up: the grid of cv::warpAffine,
// which reads one map at a time and all of its square.
constexpr int kPlaceBits = 10;
constexpr int kPartBits = 5;
constexpr int kParts = 1 << kPartBits;

// A map with nothing around it. What lies further out than that is read as if it lay there.
constexpr int kBorder = 2;

cv::Mat WithBorder(const cv::Mat& map) {
  cv::Mat wide;
  cv::copyMakeBorder(map, wide, kBorder, kBorder, kBorder, kBorder, cv::BORDER_CONSTANT, 0.0);
  return wide;
}

// Where the cells of a turned map lie on the map itself, in 1 / 2^kPlaceBits of a cell: the sum of
// what their column says and what their row does.
struct Places {
  std::vector<std::int32_t> column_x, column_y;
  std::vector<std::int32_t> row_x, row_y;
};

Places TurnedBy(double degrees, int side) {
  constexpr double kScale = 1 << kPlaceBits;
  constexpr int kHalfPart = 1 << (kPlaceBits - kPartBits - 1);
  const float middle = 0.5F * static_cast<float>(side - 1);
  cv::Mat from_turned;
  cv::invertAffineTransform(cv::getRotationMatrix2D({middle, middle}, degrees, 1.0), from_turned);
  const cv::Matx23d m = from_turned;
  Places places;
  for (int i = 0; i < side; ++i) {
    places.column_x.push_back(cvRound(m(0, 0) * i * kScale));
    places.column_y.push_back(cvRound(m(1, 0) * i * kScale));
    places.row_x.push_back(cvRound((m(0, 1) * i + m(0, 2)) * kScale) + kHalfPart);
    places.row_y.push_back(cvRound((m(1, 1) * i + m(1, 2)) * kScale) + kHalfPart);
  }
  return places;
}

// Both maps, from their first cell on.
struct Source {
  const float* level;
  const float* told;
  std::int32_t stride;
  std::int32_t side;
};

// Straight between the four cells around each place of a row.
ENDGRADE_WIDE void ReadRow(const Source& from,
                           cv::Point row,
                           const std::int32_t* column_x,
                           const std::int32_t* column_y,
                           int count,
                           float* __restrict level,
                           float* __restrict told) {
  constexpr float kPart = 1.0F / kParts;
  for (int i = 0; i < count; ++i) {
    const std::int32_t x = (row.x + column_x[i]) >> (kPlaceBits - kPartBits);
    const std::int32_t y = (row.y + column_y[i]) >> (kPlaceBits - kPartBits);
    const float right = static_cast<float>(x & (kParts - 1)) * kPart;
    const float below = static_cast<float>(y & (kParts - 1)) * kPart;
    const float left = 1.0F - right;
    const float above = 1.0F - below;
    const std::int32_t cell_x = std::clamp(x >> kPartBits, -kBorder, from.side);
    const std::int32_t cell_y = std::clamp(y >> kPartBits, -kBorder, from.side);
    const std::int32_t upper = cell_y * from.stride + cell_x;
    const std::int32_t lower = upper + from.stride;
    level[i] = from.level[upper] * (above * left) + from.level[upper + 1] * (above * right) +
               from.level[lower] * (below * left) + from.level[lower + 1] * (below * right);
    told[i] = from.told[upper] * (above * left) + from.told[upper + 1] * (above * right) +
              from.told[lower] * (below * left) + from.told[lower + 1] * (below * right);
  }
}

// How far to either side of a map's middle its cells lie within a radius of it, on a row so far
// off; negative where none do.
int ReachWithin(double radius, double off) {
  return radius > std::abs(off) ? cvFloor(std::sqrt(radius * radius - off * off)) : -1;
}

// The columns of a row of a square map that lie between two radii of its middle, and a cell more.
std::array<cv::Range, 2> ColumnsBetween(double from, double to, int row, int side) {
  const double off = row - 0.5 * (side - 1);
  const int middle = side / 2;
  const int reach = std::min(middle, ReachWithin(to, off) + 1);
  const int inner = ReachWithin(from, off) - 1;
  if (inner <= 0) return {cv::Range(middle - reach, middle + reach + 1), cv::Range(0, 0)};
  return {cv::Range(middle - reach, middle - inner + 1),
          cv::Range(middle + inner, middle + reach + 1)};
}

// Takes a row into the sums of the last kStripLong, and the one before those out of them.
ENDGRADE_WIDE void Slide(const float* in, const float* out, int count, double* __restrict sums) {
  for (int x = 0; x < count; ++x) {
    sums[x] += static_cast<double>(in[x]) - static_cast<double>(out[x]);
  }
}

// Means of strips from the sums of their columns, and how much of them is told.
ENDGRADE_WIDE void MeansOfStrips(const double* level,
                                 const double* told,
                                 int count,
                                 float* __restrict mean,
                                 float* __restrict filled) {
  for (int x = 0; x < count; ++x) {
    filled[x] = static_cast<float>(told[x] + told[x + 1] + told[x + 2] + told[x + 3]);
    mean[x] = static_cast<float>(level[x] + level[x + 1] + level[x + 2] + level[x + 3]) / filled[x];
  }
}

constexpr int kEightStrips = 8;

// The greatest step along a row, or what it was before. Eight strips at a time: nothing is filled
// after the last ones.
ENDGRADE_WIDE float StepAlong(const float* mean, const float* filled, int count, float before) {
  constexpr float kLeast = kLeastFilled * static_cast<float>(kStripCells);
  Eight greatest = Eight{} + before;
  for (int x = 0; x < count; x += kEightStrips) {
    const Eight off = EightAt(mean + x).value - EightAt(mean + x + kApart).value;
    const Eight step = off < 0 ? -off : off;
    const auto more = (EightAt(filled + x).value >= kLeast) &
                      (EightAt(filled + x + kApart).value >= kLeast) & (step > greatest);
    greatest = more ? step : greatest;
  }
  float most = before;
  for (int i = 0; i < kEightStrips; ++i) most = std::max(most, greatest[i]);
  return most;
}

static_assert(kStripWide == 4, "MeansOfStrips adds four");

// Cells of a strip before its middle.
constexpr int kBeforeAlong = kStripLong / 2;
constexpr int kBeforeAcross = kStripWide / 2;

// Both maps turned, with room all around for strips that reach beyond them.
struct Turned {
  cv::Mat level;
  cv::Mat told;
  int side;

  explicit Turned(int cells)
      : level(cv::Mat::zeros(cells + 2 * kRoom, cells + 2 * kRoom, CV_32FC1)),
        told(level.clone()),
        side(cells) {}

  // A quarter turn further; mirrored, which no step minds.
  [[nodiscard]] Turned Across() const {
    Turned across(*this);
    across.level = level.t();
    across.told = told.t();
    return across;
  }

  static constexpr int kRoom = kStripLong;
};

// The greatest step in turned maps, or what it was before.
float GreatestIn(const Turned& maps, float greatest) {
  // The columns that strips hold.
  constexpr int kFirst = Turned::kRoom - kBeforeAcross;
  const int width = maps.side + kStripWide - 1;
  std::vector<double> level(static_cast<size_t>(width), 0.0);
  std::vector<double> told(level.size(), 0.0);
  std::vector<float> mean(level.size() + kApart + kEightStrips, 0.0F);
  std::vector<float> filled(mean.size(), 0.0F);
  const auto slide = [&](const cv::Mat& map, int in, double* sums) {
    const int out = in - kStripLong;
    Slide(map.ptr<float>(in) + kFirst, map.ptr<float>(out) + kFirst, width, sums);
  };
  // Strips of a middle's row hold the kStripLong rows from kBeforeAlong above it on.
  for (int y = kBeforeAlong - kStripLong + 1; y < maps.side; ++y) {
    const int last = Turned::kRoom + y - kBeforeAlong + kStripLong - 1;
    slide(maps.level, last, level.data());
    slide(maps.told, last, told.data());
    if (y < 0) continue;
    MeansOfStrips(level.data(), told.data(), maps.side, mean.data(), filled.data());
    greatest = StepAlong(mean.data(), filled.data(), maps.side - kApart, greatest);
  }
  return greatest;
}

}  // namespace

double GreatestStep(const cv::Mat& level, const cv::Mat& told, double from_cells, double to_cells) {
  constexpr double kAround = 2.0;  // a turned cell is read from those around its place
  const int side = level.cols;
  const cv::Mat wide_level = WithBorder(level);
  const cv::Mat wide_told = WithBorder(told);
  const Source from{wide_level.ptr<float>(kBorder) + kBorder,
                    wide_told.ptr<float>(kBorder) + kBorder,
                    static_cast<std::int32_t>(wide_level.step1()),
                    side};
  Turned turned(side);
  float greatest = 0;
  // Strips that lie are those that stand, a quarter turn further.
  for (int direction = 0; direction < kDirections / 2; ++direction) {
    const Places places = TurnedBy(180.0 * direction / kDirections, side);
    for (int y = 0; y < side; ++y) {
      const auto row = static_cast<size_t>(y);
      for (const cv::Range& columns :
           ColumnsBetween(from_cells - kAround, to_cells + kAround, y, side)) {
        const int first = Turned::kRoom + columns.start;
        ReadRow(from,
                {places.row_x[row], places.row_y[row]},
                places.column_x.data() + columns.start,
                places.column_y.data() + columns.start,
                columns.size(),
                turned.level.ptr<float>(Turned::kRoom + y) + first,
                turned.told.ptr<float>(Turned::kRoom + y) + first);
      }
    }
    greatest = GreatestIn(turned, greatest);
    greatest = GreatestIn(turned.Across(), greatest);
  }
  return static_cast<double>(greatest);
}

}  // namespace endgrade
