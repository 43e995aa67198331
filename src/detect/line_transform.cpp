#include "detect/line_transform.h"

#include "core/wide.h"
#include "flatten/cell_grid.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <iterator>
#include <span>

namespace endgrade {
namespace {

constexpr float kUnits = 8.0F;  // integer units of score: 1/8
constexpr int kLongest = 1024;  // rows: 1024 * 3 * 8 = 24,576 still fits 16 bits
constexpr size_t kSpreadSamples = 5000;

// Sums along segments that cross strips of `height` rows and move right by `slope` columns from the
// strip's first row to its last. Row (strip * height + slope) holds them by the column of the first
// row. Columns past the right border hold what is left inside. Only what is not zero by necessity
// is ever written: in each strip, segments that touch a column in which the image holds anything
// there; the rest stays zero.
struct Level {
  int height = 1;  // a power of two: to divide by it would cost more than to sum
  int image_rows = 0;
  int padding = 0;              // columns left of the image
  cv::Mat sum;                  // CV_16SC1
  std::vector<cv::Range> held;  // by strip: columns in which the image is not all zero
  std::vector<short> largest;   // by row: |sum|, at most

  [[nodiscard]] int NumStrips() const { return (image_rows + height - 1) / height; }
  [[nodiscard]] int Slope(int row) const { return row & (height - 1); }
  // Columns of a row that may differ from zero.
  [[nodiscard]] cv::Range Written(int row) const {
    const int strip = row >> std::countr_zero(static_cast<unsigned>(height));
    const cv::Range& columns = held[static_cast<size_t>(strip)];
    return columns.empty() ? columns : cv::Range(columns.start - Slope(row), columns.end);
  }
};

// Back from the padded and perhaps mirrored or transposed image.
struct Orientation {
  bool transposed;
  bool mirrored;
  int columns;  // of the image before padding
  int padding;

  [[nodiscard]] cv::Point2d Place(double padded_x, double y) const {
    double x = padded_x - padding;
    if (mirrored) x = columns - 1 - x;
    return transposed ? cv::Point2d(y, x) : cv::Point2d(x, y);
  }
};

int PaddedRows(int rows) {
  int padded = 1;
  while (padded < rows) padded *= 2;
  return padded;
}

cv::Mat Mirrored(const cv::Mat& image) {
  cv::Mat mirrored;
  cv::flip(image, mirrored, 1);
  return mirrored;
}

Level Base(const cv::Mat& turned) {
  Level level;
  const int rows = PaddedRows(turned.rows);
  level.image_rows = turned.rows;
  // Segments lean right by up to the strip's height, so they may start that far left of the image.
  level.padding = std::min(rows, kLongest);
  level.sum = cv::Mat::zeros(rows, turned.cols + level.padding, CV_16SC1);
  turned.copyTo(level.sum(cv::Rect(level.padding, 0, turned.cols, turned.rows)));
  for (int row = 0; row < turned.rows; ++row) {
    const auto* const begin = turned.ptr<short>(row);
    const auto* const end = begin + turned.cols;
    const auto holds = [](short value) { return value != 0; };
    const auto first = std::find_if(begin, end, holds) - begin;
    const auto past =
        std::find_if(std::reverse_iterator(end), std::reverse_iterator(begin), holds).base() -
        begin;
    level.held.push_back(first < past ? cv::Range(level.padding + static_cast<int>(first),
                                                  level.padding + static_cast<int>(past))
                                      : cv::Range(0, 0));
  }
  return level;
}

cv::Range Both(const cv::Range& a, const cv::Range& b) {
  if (a.empty() || b.empty()) return a.empty() ? b : a;
  return {std::min(a.start, b.start), std::max(a.end, b.end)};
}

// Returns the largest |sum|.
ENDGRADE_WIDE short AddShifted(const short* top,
                               const short* bottom,
                               int shift,
                               cv::Range columns,
                               int width,
                               short* __restrict out) {
  short most = 0;
  short least = 0;
  const auto note = [&](short sum) {
    most = std::max(most, sum);
    least = std::min(least, sum);
  };
  const int whole = std::min(columns.end, width - shift);
  for (int x = columns.start; x < whole; ++x) {
    out[x] = static_cast<short>(top[x] + bottom[x + shift]);
    note(out[x]);
  }
  for (int x = std::max(columns.start, whole); x < columns.end; ++x) {
    out[x] = top[x];
    note(out[x]);
  }
  return std::max(most, static_cast<short>(-least));
}

// `level`: of the same image, zero or an earlier level of it.
void Double(const Level& half, Level* level) {
  level->height = 2 * half.height;
  level->held.clear();
  for (size_t i = 0; i < half.held.size(); i += 2) {
    level->held.push_back(i + 1 < half.held.size() ? Both(half.held[i], half.held[i + 1])
                                                   : half.held[i]);
  }
  const int rows = level->NumStrips() * level->height;
  level->largest.assign(static_cast<size_t>(rows), 0);
  for (int row = 0; row < rows; ++row) {
    const int slope = level->Slope(row);
    const int half_slope = slope / 2;
    const int half_row = row - slope + half_slope;
    const cv::Range columns = level->Written(row);
    if (columns.empty()) continue;
    level->largest[static_cast<size_t>(row)] =
        AddShifted(half.sum.ptr<short>(half_row),
                   half.sum.ptr<short>(half_row + half.height),
                   slope - half_slope,
                   columns,
                   half.sum.cols,
                   level->sum.ptr<short>(row));
  }
}

constexpr int kBlock = 32;  // columns

// The first of the blocks from `sums` on of which some |sum| is `needed` or more.
ENDGRADE_WIDE int FirstBlock(const short* sums, int count, int needed) {
  for (int block = 0; block < count; ++block, sums += kBlock) {
    short most = 0;
    for (int i = 0; i < kBlock; ++i) {
      const auto turned = static_cast<short>(-sums[i]);
      most = std::max(most, std::max(sums[i], turned));
    }
    if (most >= needed) return block;
  }
  return count;
}

// Reads one level: which sums stand out of the others of their length.
class Reader {
 public:
  Reader(const Level& level,
         const Orientation& orientation,
         const LineField& field,
         cv::Size size,
         const LineSumOptions& options)
      : level_(level), orientation_(orientation), field_(field), size_(size), options_(options) {}

  // Of all sums, spread evenly, those whose segments lie in the field far enough.
  [[nodiscard]] std::vector<SpreadSample> FindSamples() const {
    std::vector<SpreadSample> samples = SpreadEvenly();
    const double least = options_.least_filled * level_.height;
    size_t kept = 0;
    for (size_t first = 0; first < samples.size(); first += Segments::kMost) {
      Segments segments;
      const size_t count = std::min(Segments::kMost, samples.size() - first);
      for (const SpreadSample& sample : std::span(samples).subspan(first, count)) {
        segments.Add(From(sample.row, sample.column), To(sample.row, sample.column));
      }
      Segments::Each shares;
      field_.SharesInside(segments, size_, &shares);
      for (size_t i = 0; i < count; ++i) {
        const double cells = level_.height * shares[i];
        if (cells < least) continue;
        samples[kept] = samples[first + i];
        samples[kept++].own = SpreadOf(cells);
      }
    }
    samples.resize(kept);
    return samples;
  }

  // Robust spread of sum / sqrt(cells): 1 for independent cells, more for correlated ones.
  [[nodiscard]] float Spread(const std::vector<SpreadSample>& samples) const {
    std::vector<float> values;
    values.reserve(samples.size());
    int row = -1;
    cv::Range written;
    const short* sum = nullptr;
    for (const SpreadSample& sample : samples) {
      if (sample.row != row) {
        row = sample.row;
        written = level_.Written(row);
        sum = level_.sum.ptr<short>(row);
      }
      if (sample.column < written.start || sample.column >= written.end) continue;
      values.push_back(static_cast<float>(sum[sample.column]) / sample.own);
    }
    return values.size() < 50 ? 0.0F : NoiseSigma(values);
  }

  void Collect(float spread, std::vector<LineCandidate>* found) const {
    if (spread <= 0.0F) return;
    const double least = options_.least_filled * level_.height;
    const auto needed = static_cast<int>(options_.threshold * spread * std::sqrt(least) * kUnits);
    const int rows = level_.NumStrips() * level_.height;
    const int end = level_.sum.cols - 1;
    for (int row = 0; row < rows; ++row) {
      if (level_.largest[static_cast<size_t>(row)] < needed) continue;  // almost everywhere
      const auto* sum = level_.sum.ptr<short>(row);
      const cv::Range written = level_.Written(row);
      const int past = std::min(written.end, end);
      for (int x = std::max(1, written.start); x < past; x += kBlock) {
        x += kBlock * FirstBlock(sum + x, (past - x) / kBlock, needed);
        if (x < past) CollectBlock(row, x, std::min(x + kBlock, past), needed, spread, found);
      }
    }
  }

 private:
  // Of sums over so many independent cells whose spread is 1.
  [[nodiscard]] static float SpreadOf(double cells) {
    return kUnits * static_cast<float>(std::sqrt(cells));
  }
  void CollectBlock(int row,
                    int begin,
                    int end,
                    int needed,
                    float spread,
                    std::vector<LineCandidate>* found) const {
    const double least = options_.least_filled * level_.height;
    const auto* sum = level_.sum.ptr<short>(row);
    const auto stands_out = [needed](short value) { return std::abs(value) >= needed; };
    for (int x = begin; x < end; ++x) {
      x = static_cast<int>(std::find_if(sum + x, sum + end, stands_out) - sum);
      if (x == end) return;
      if (!Highest(row, x)) continue;
      const double cells = level_.height * field_.ShareInside(From(row, x), To(row, x), size_);
      if (cells < least) continue;
      const float snr = std::abs(static_cast<float>(sum[x])) /
                        (kUnits * spread * static_cast<float>(std::sqrt(cells)));
      if (snr < options_.threshold) continue;
      const float sign = sum[x] < 0 ? -1.0F : 1.0F;
      found->push_back({cv::Point2f(From(row, x)), cv::Point2f(To(row, x)), snr, sign});
    }
  }

  [[nodiscard]] int Slope(int row) const { return level_.Slope(row); }
  [[nodiscard]] cv::Point2d From(int row, int x) const {
    return orientation_.Place(x, row - Slope(row));
  }
  [[nodiscard]] cv::Point2d To(int row, int x) const {
    return orientation_.Place(x + Slope(row), row - Slope(row) + level_.height - 1);
  }
  // Of all sums, as many as are needed of those whose segments may lie in the image far enough.
  [[nodiscard]] std::vector<SpreadSample> SpreadEvenly() const {
    std::vector<SpreadSample> samples;
    samples.reserve(kSpreadSamples);
    // Every so many of all sums, rows end to end.
    const int stride = std::max(1, static_cast<int>(level_.sum.total() / kSpreadSamples));
    const int rows = level_.NumStrips() * level_.height;
    for (int row = 0; row < rows; ++row) {
      const auto within = static_cast<int>(options_.least_filled * Slope(row));
      const int row_at = row * level_.sum.cols;
      const int first = row_at + level_.padding - Slope(row) + within - 1;
      const int past = row_at + level_.padding + orientation_.columns - within + 1;
      const int before = (first + stride - 1 - stride / 2) / stride;
      for (int at = stride / 2 + before * stride; at < past; at += stride) {
        samples.push_back({row, at - row_at});
      }
    }
    return samples;
  }

  // Among its neighbours in place and slope; ties go to the first.
  [[nodiscard]] bool Highest(int row, int x) const {
    const auto* here = level_.sum.ptr<short>(row);
    const int value = std::abs(here[x]);
    if (value < std::abs(here[x - 1]) || value <= std::abs(here[x + 1])) return false;
    for (const int step : {-1, 1}) {
      const int slope = Slope(row) + step;
      if (slope < 0 || slope >= level_.height) continue;
      const auto* beside = level_.sum.ptr<short>(row + step);
      for (int dx = -1; dx <= 1; ++dx) {
        const int other = std::abs(beside[x + dx]);
        if (value < other || (step > 0 && dx == 0 && value == other)) return false;
      }
    }
    return true;
  }

  const Level& level_;
  const Orientation& orientation_;
  const LineField& field_;
  cv::Size size_;
  const LineSumOptions& options_;
};

bool Stronger(const LineCandidate& a, const LineCandidate& b) {
  if (a.snr != b.snr) return a.snr > b.snr;
  if (a.from.y != b.from.y) return a.from.y < b.from.y;
  if (a.from.x != b.from.x) return a.from.x < b.from.x;
  return a.to.x != b.to.x ? a.to.x < b.to.x : a.to.y < b.to.y;
}

// What lines of one orientation come to, and the spread of their sums, by length.
struct Sums {
  std::vector<LineCandidate> found;
  std::vector<float> spreads;
};

//   turned         the image as lines of this orientation are summed in
//   most_spreads   by length: what the spread is taken for, at most; empty: whatever it is
//   samples        by length: which sums tell it; found where they are not known yet
Sums SumOrientation(const cv::Mat& turned,
                    bool transposed,
                    bool mirrored,
                    const LineField& field,
                    const LineSumOptions& options,
                    const std::vector<float>& most_spreads,
                    std::vector<std::vector<SpreadSample>>* samples) {
  Sums sums;
  const cv::Size size =
      transposed ? cv::Size(turned.rows, turned.cols) : cv::Size(turned.cols, turned.rows);
  Level level = Base(turned);
  const Orientation orientation{transposed, mirrored, turned.cols, level.padding};
  Level next{
      1, level.image_rows, level.padding, cv::Mat::zeros(level.sum.size(), CV_16SC1), {}, {}};
  while (level.height < std::min(level.sum.rows, kLongest)) {
    Double(level, &next);
    std::swap(level, next);
    if (level.height < options.shortest_cells) continue;
    const Reader reader(level, orientation, field, size, options);
    const size_t length = sums.spreads.size();
    if (length >= samples->size()) samples->push_back(reader.FindSamples());
    const float spread =
        most_spreads.empty() ? reader.Spread((*samples)[length]) : most_spreads[length];
    sums.spreads.push_back(spread);
    reader.Collect(spread, &sums.found);
  }
  return sums;
}

// The spreads as far as they are no more than so many times the least of any orientation's.
// Orientations may differ in the number of lengths.
std::vector<float> Bounded(const std::vector<Sums>& all, const Sums& own, float most) {
  std::vector<float> bounded = own.spreads;
  for (size_t length = 0; length < bounded.size(); ++length) {
    for (const Sums& other : all) {
      if (length >= other.spreads.size() || other.spreads[length] <= 0.0F) continue;
      bounded[length] = std::min(bounded[length], most * other.spreads[length]);
    }
  }
  return bounded;
}

// Of all orientations, strongest first.
std::vector<LineCandidate> Together(const std::vector<Sums>& all) {
  std::vector<LineCandidate> found;
  for (const Sums& sums : all) found.insert(found.end(), sums.found.begin(), sums.found.end());
  std::sort(found.begin(), found.end(), Stronger);
  return found;
}

// Whether several of the strongest run in one direction, one beside the other. The flanks of one
// wide scratch do, too, but not far apart.
bool IsFamily(const std::vector<LineCandidate>& found, float apart) {
  constexpr size_t kStrongest = 300;
  constexpr size_t kReferences = 20;
  constexpr size_t kLeastLines = 6;
  constexpr float kLong = 8.0F;      // times how far apart: hairs and smears leave shorter pieces
  constexpr float kAlike = 0.9945F;  // cosine: 6 degrees
  const size_t count = std::min(found.size(), kStrongest);
  for (size_t i = 0; i < std::min(count, kReferences); ++i) {
    const cv::Point2f run = found[i].to - found[i].from;
    const cv::Point2f along = run * (1.0F / std::hypot(run.x, run.y));
    const cv::Point2f middle = 0.5F * (found[i].from + found[i].to);
    std::vector<float> offsets;
    for (size_t j = 0; j < count; ++j) {
      const cv::Point2f other = found[j].to - found[j].from;
      if (found[j].sign != found[i].sign || std::hypot(other.x, other.y) < kLong * apart) continue;
      if (std::abs(other.dot(along)) < kAlike * std::hypot(other.x, other.y)) continue;
      const auto offset =
          static_cast<float>(along.cross(0.5F * (found[j].from + found[j].to) - middle));
      const bool known = std::any_of(offsets.begin(), offsets.end(), [&](float kept) {
        return std::abs(kept - offset) < apart;
      });
      if (!known) offsets.push_back(offset);
    }
    if (offsets.size() >= kLeastLines) return true;
  }
  return false;
}

}  // namespace

std::vector<LineCandidate> SumLines(const cv::Mat& score,
                                    const LineField& field,
                                    const LineSumOptions& options,
                                    SpreadSamples* samples) {
  if (samples->field != field || samples->size != score.size())
    *samples = {field, score.size(), {}};
  constexpr double kMostUnits = static_cast<double>(kMostScore * kUnits);
  cv::Mat units;
  score.convertTo(units, CV_16S, static_cast<double>(kUnits));
  cv::min(units, kMostUnits, units);
  cv::max(units, -kMostUnits, units);
  const cv::Mat upright = units.t();
  const std::array<cv::Mat, 4> turned{units, Mirrored(units), upright, Mirrored(upright)};
  const auto sum = [&](size_t i, const std::vector<float>& most_spreads) {
    return SumOrientation(
        turned[i], i >= 2, i % 2 == 1, field, options, most_spreads, &samples->found[i]);
  };
  std::vector<Sums> all;
  for (size_t i = 0; i < turned.size(); ++i) all.push_back(sum(i, {}));
  std::vector<LineCandidate> found = Together(all);
  if (options.most_spread > 0.0F) {
    std::vector<Sums> believed = all;
    bool any = false;
    for (size_t i = 0; i < all.size(); ++i) {
      const std::vector<float> spreads = Bounded(all, all[i], options.most_spread);
      if (spreads == all[i].spreads) continue;
      believed[i] = sum(i, spreads);
      any = true;
    }
    std::vector<LineCandidate> more;
    if (any) more = Together(believed);
    if (IsFamily(more, options.apart_cells)) found = std::move(more);
  }
  if (found.size() > options.most_candidates) found.resize(options.most_candidates);
  return found;
}

}  // namespace endgrade
