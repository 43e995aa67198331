#include "detect/line_transform.h"

#include "flatten/cell_grid.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// Sums along segments that cross strips of `height` rows and move right by `slope` columns from the
// strip's first row to its last. Row (strip * height + slope) of `sum` holds them by the column of
// the first row. Columns past the right border hold what is left inside.
struct Level {
  int height = 1;
  cv::Mat sum;    // CV_32FC1
  cv::Mat count;  // CV_16UC1: cells inside the mask
};

int PaddedRows(int rows) {
  int padded = 1;
  while (padded < rows) padded *= 2;
  return padded;
}

Level Base(const cv::Mat& score, const cv::Mat& mask) {
  Level level;
  const int rows = PaddedRows(score.rows);
  // Segments lean right by up to the strip's height, so they may start that far left of the image.
  const int columns = score.cols + rows;
  level.sum = cv::Mat::zeros(rows, columns, CV_32FC1);
  level.count = cv::Mat::zeros(rows, columns, CV_16UC1);
  const cv::Rect inner(rows, 0, score.cols, score.rows);
  score.copyTo(level.sum(inner), mask);
  level.count(inner).setTo(1, mask);
  return level;
}

template <typename T>
void AddShifted(const cv::Mat& from, int top_row, int bottom_row, int shift, cv::Mat* to, int row) {
  const auto* top = from.ptr<T>(top_row);
  const auto* bottom = from.ptr<T>(bottom_row);
  auto* out = to->ptr<T>(row);
  const int whole = from.cols - shift;
  for (int x = 0; x < whole; ++x) out[x] = static_cast<T>(top[x] + bottom[x + shift]);
  for (int x = std::max(0, whole); x < from.cols; ++x) out[x] = top[x];
}

Level Double(const Level& half) {
  Level level;
  level.height = 2 * half.height;
  level.sum = cv::Mat(half.sum.size(), CV_32FC1);
  level.count = cv::Mat(half.count.size(), CV_16UC1);
  for (int strip = 0; strip < half.sum.rows / level.height; ++strip) {
    const int first = strip * level.height;
    for (int slope = 0; slope < level.height; ++slope) {
      const int half_slope = slope / 2;
      const int top = first + half_slope;
      const int bottom = first + half.height + half_slope;
      const int shift = slope - half_slope;
      AddShifted<float>(half.sum, top, bottom, shift, &level.sum, first + slope);
      AddShifted<ushort>(half.count, top, bottom, shift, &level.count, first + slope);
    }
  }
  return level;
}

// Robust spread of sum / sqrt(count): 1 for independent cells, more for correlated ones.
float Spread(const Level& level, float least_count) {
  std::vector<float> values;
  const int stride = std::max(1, static_cast<int>(level.sum.total() / 30000));
  for (int row = 0; row < level.sum.rows; ++row) {
    const auto* sum = level.sum.ptr<float>(row);
    const auto* count = level.count.ptr<ushort>(row);
    for (int x = row % stride; x < level.sum.cols; x += stride) {
      if (static_cast<float>(count[x]) < least_count) continue;
      values.push_back(sum[x] / std::sqrt(static_cast<float>(count[x])));
    }
  }
  if (values.size() < 50) return 0.0F;
  return RobustSigma(values);
}

// Back from the sheared, padded and perhaps mirrored or transposed image.
struct Orientation {
  bool transposed;
  bool mirrored;
  int columns;  // of the image before padding

  [[nodiscard]] cv::Point2f Place(float x, float y) const {
    if (mirrored) x = static_cast<float>(columns - 1) - x;
    return transposed ? cv::Point2f(y, x) : cv::Point2f(x, y);
  }
};

cv::Mat Turn(const cv::Mat& image, bool transposed, bool mirrored) {
  cv::Mat turned;
  if (transposed) {
    cv::transpose(image, turned);
  } else {
    turned = image.clone();
  }
  if (mirrored) cv::flip(turned, turned, 1);
  return turned;
}

void Collect(const Level& level,
             const Orientation& orientation,
             int padding,
             const LineSumOptions& options,
             std::vector<LineCandidate>* found) {
  const float least = static_cast<float>(options.least_filled * level.height);
  const float spread = Spread(level, least);
  if (spread <= 0.0F) return;
  // least |sum| by number of cells, and what turns a sum into a ratio
  std::vector<float> needed(static_cast<size_t>(level.height) + 1, 1e30F);
  std::vector<float> inverse(needed.size(), 0.0F);
  for (size_t cells = 1; cells < needed.size(); ++cells) {
    if (static_cast<float>(cells) < least) continue;
    inverse[cells] = 1.0F / (spread * std::sqrt(static_cast<float>(cells)));
    needed[cells] = options.threshold / inverse[cells];
  }
  const auto ratio = [&](int row, int x) {
    return std::abs(level.sum.at<float>(row, x)) * inverse[level.count.at<ushort>(row, x)];
  };
  for (int strip = 0; strip < level.sum.rows / level.height; ++strip) {
    for (int slope = 0; slope < level.height; ++slope) {
      const int row = strip * level.height + slope;
      const auto* sum = level.sum.ptr<float>(row);
      const auto* count = level.count.ptr<ushort>(row);
      for (int x = 1; x + 1 < level.sum.cols; ++x) {
        if (std::abs(sum[x]) < needed[count[x]]) continue;
        const float value = ratio(row, x);
        if (value < ratio(row, x - 1) || value <= ratio(row, x + 1)) continue;
        const bool has_above = slope > 0;
        const bool has_below = slope + 1 < level.height;
        if (has_above && (value < ratio(row - 1, x - 1) || value < ratio(row - 1, x) ||
                          value < ratio(row - 1, x + 1))) {
          continue;
        }
        if (has_below && (value < ratio(row + 1, x - 1) || value <= ratio(row + 1, x) ||
                          value < ratio(row + 1, x + 1))) {
          continue;
        }
        const auto y0 = static_cast<float>(strip * level.height);
        const auto x0 = static_cast<float>(x - padding);
        LineCandidate line;
        line.from = orientation.Place(x0, y0);
        line.to = orientation.Place(x0 + static_cast<float>(slope),
                                    y0 + static_cast<float>(level.height - 1));
        line.snr = value;
        line.sign = sum[x] < 0 ? -1.0F : 1.0F;
        found->push_back(line);
      }
    }
  }
}

}  // namespace

std::vector<LineCandidate> SumLines(const cv::Mat& score,
                                    const cv::Mat& mask,
                                    const LineSumOptions& options) {
  std::vector<LineCandidate> found;
  for (const bool transposed : {false, true}) {
    for (const bool mirrored : {false, true}) {
      const cv::Mat turned = Turn(score, transposed, mirrored);
      const cv::Mat turned_mask = Turn(mask, transposed, mirrored);
      const Orientation orientation{transposed, mirrored, turned.cols};
      Level level = Base(turned, turned_mask);
      const int padding = level.sum.rows;
      while (level.height < level.sum.rows) {
        level = Double(level);
        if (level.height >= options.shortest_cells) {
          Collect(level, orientation, padding, options, &found);
        }
      }
    }
  }
  std::sort(found.begin(), found.end(), [](const LineCandidate& a, const LineCandidate& b) {
    if (a.snr != b.snr) return a.snr > b.snr;
    if (a.from.y != b.from.y) return a.from.y < b.from.y;
    if (a.from.x != b.from.x) return a.from.x < b.from.x;
    return a.to.x != b.to.x ? a.to.x < b.to.x : a.to.y < b.to.y;
  });
  if (found.size() > options.most_candidates) found.resize(options.most_candidates);
  return found;
}

}  // namespace endgrade
