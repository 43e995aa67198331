#include "locate/coarse_search.h"

#include "core/wide.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>

namespace endgrade::locate {
namespace {

constexpr double kSmoothing = 1.2;     // pixels of the level, before gradients
constexpr double kRadiusRatio = 1.08;  // between neighbouring bands of radius
constexpr int kCell = 2;               // pixels of the level, either side of a cell of centres

// Gradients below this many luma units a pixel are rounding, whatever the picture.
constexpr float kLeastGradient = 0.15F;
// A step counts by its height up to this many times the picture's usual one, and no more beyond: a
// burnt-in line must not outvote a faint rim.
constexpr float kEnough = 4.0F;
constexpr int kFullWeight = 4;         // votes of such a step
constexpr double kLeastSupport = 0.1;  // share of a rim's full votes, for a guess

// The places of what is greater than `least`, in order; `places` has room for all. Most values are
// not, and are passed by many at a time.
template <typename Number>
[[gnu::always_inline]] inline std::size_t CollectAbove(const Number* values,
                                                       std::size_t count,
                                                       Number least,
                                                       int* __restrict places) {
  using Many [[gnu::vector_size(32)]] = Number;
  constexpr std::size_t kMany = sizeof(Many) / sizeof(Number);
  std::size_t found = 0;
  const auto look_at = [&](std::size_t i) {
    places[found] = static_cast<int>(i);
    found += values[i] > least ? 1 : 0;
  };
  std::size_t i = 0;
  for (; i + kMany <= count; i += kMany) {
    Many here;
    std::memcpy(&here, values + i, sizeof here);
    const auto above = here > least;
    std::array<std::uint64_t, 4> any;
    std::memcpy(any.data(), &above, sizeof any);
    if ((any[0] | any[1] | any[2] | any[3]) == 0) continue;
    for (std::size_t j = 0; j < kMany; ++j) look_at(i + j);
  }
  for (; i < count; ++i) look_at(i);
  return found;
}

ENDGRADE_WIDE std::size_t FindAbove(const float* values,
                                    std::size_t count,
                                    float least,
                                    int* places) {
  return CollectAbove(values, count, least, places);
}
ENDGRADE_WIDE std::size_t FindAbove(const std::uint16_t* values,
                                    std::size_t count,
                                    std::uint16_t least,
                                    int* places) {
  return CollectAbove(values, count, least, places);
}

struct Voters {
  std::vector<float> x, y;    // position
  std::vector<float> dx, dy;  // unit vector towards the brighter side
  std::vector<std::uint16_t> weight;
};

// Is the gradient's size at its greatest along its own direction here?
bool IsCrest(const cv::Mat& size, int row, int column, float gx, float gy) {
  const float ax = std::abs(gx);
  const float ay = std::abs(gy);
  int step_x = 1;
  int step_y = 0;
  if (ay > 2.414F * ax) {
    step_x = 0;
    step_y = 1;
  } else if (ay > 0.414F * ax) {
    step_y = (gx > 0) == (gy > 0) ? 1 : -1;
  }
  const float here = size.at<float>(row, column);
  return here >= size.at<float>(row + step_y, column + step_x) &&
         here > size.at<float>(row - step_y, column - step_x);
}

Voters FindVoters(const cv::Mat& image) {
  cv::Mat smooth, gx, gy, size;
  cv::GaussianBlur(image, smooth, {0, 0}, kSmoothing, kSmoothing, cv::BORDER_REPLICATE);
  cv::Sobel(smooth, gx, CV_32F, 1, 0, 3, 0.125);
  cv::Sobel(smooth, gy, CV_32F, 0, 1, 3, 0.125);
  cv::magnitude(gx, gy, size);
  std::vector<float> sample;
  for (int row = 0; row < size.rows; row += 2) {
    const auto* p = size.ptr<float>(row);
    for (int column = row % 4 / 2; column < size.cols; column += 3) sample.push_back(p[column]);
  }
  const float usual = std::max(kLeastGradient, Median(sample));
  const float least = 2.0F * usual;
  Voters voters;
  std::vector<int> steep(static_cast<std::size_t>(size.cols) + 1);
  for (int row = 1; row + 1 < size.rows; ++row) {
    const auto* p = size.ptr<float>(row);
    const std::size_t count =
        FindAbove(p + 1, static_cast<std::size_t>(size.cols) - 2, least, steep.data());
    for (std::size_t i = 0; i < count; ++i) {
      const int column = steep[i] + 1;
      const float sx = gx.at<float>(row, column);
      const float sy = gy.at<float>(row, column);
      if (!IsCrest(size, row, column, sx, sy)) continue;
      const float inverse = 1.0F / p[column];
      const float weight = kFullWeight * p[column] / (kEnough * usual);
      voters.x.push_back(static_cast<float>(column));
      voters.y.push_back(static_cast<float>(row));
      voters.dx.push_back(sx * inverse);
      voters.dy.push_back(sy * inverse);
      voters.weight.push_back(
          static_cast<std::uint16_t>(std::clamp(weight, 1.0F, static_cast<float>(kFullWeight))));
    }
  }
  return voters;
}

// Cells of centres, with room around the picture.
struct Grid {
  int margin = 0;  // cells
  int width = 0;
  int height = 0;

  [[nodiscard]] size_t Count() const {
    return static_cast<size_t>(width) * static_cast<size_t>(height);
  }
};

Grid GridFor(const cv::Mat& image, const CoarseSearch& search) {
  const int margin = static_cast<int>(0.5 * search.to_radius / kCell) + 2;
  return {margin, image.cols / kCell + 1 + 2 * margin, image.rows / kCell + 1 + 2 * margin};
}

// The cells that voters vote for, `reach` away from them; the one after the last is for those
// outside.
ENDGRADE_WIDE void FindCells(const Voters& voters,
                             const Grid& grid,
                             float reach,
                             int* __restrict cells) {
  const float offset = static_cast<float>(grid.margin) + 0.5F / kCell;
  const auto outside = static_cast<int>(grid.Count());
  const int width = grid.width;
  const int height = grid.height;
  const float* x = voters.x.data();
  const float* y = voters.y.data();
  const float* dx = voters.dx.data();
  const float* dy = voters.dy.data();
  const size_t count = voters.x.size();
  for (size_t i = 0; i < count; ++i) {
    const int column = static_cast<int>((x[i] + reach * dx[i]) / kCell + offset);
    const int row = static_cast<int>((y[i] + reach * dy[i]) / kCell + offset);
    const bool inside = (column >= 0) & (row >= 0) & (column < width) & (row < height);
    cells[i] = inside ? row * width + column : outside;
  }
}

// Each cell of a row with its eight neighbours; the first and the last are left alone. Returns the
// greatest.
ENDGRADE_WIDE std::uint16_t SumOfNine(const std::uint16_t* __restrict cells,
                                      size_t width,
                                      std::uint16_t* __restrict columns,
                                      std::uint16_t* __restrict sums) {
  const std::uint16_t* above = cells - width;
  const std::uint16_t* below = cells + width;
  for (size_t i = 0; i < width; ++i) {
    columns[i] = static_cast<std::uint16_t>(above[i] + cells[i] + below[i]);
  }
  std::uint16_t most = 0;
  for (size_t i = 1; i + 1 < width; ++i) {
    sums[i] = static_cast<std::uint16_t>(columns[i - 1] + columns[i] + columns[i + 1]);
    most = std::max(most, sums[i]);
  }
  return most;
}

struct Peak {
  int band, row, column;
  double support;
};

bool IsPeak(const std::uint16_t* cell, size_t width) {
  for (const std::uint16_t* row : {cell - width, cell, cell + width}) {
    if (row[-1] > *cell || row[0] > *cell || row[1] > *cell) return false;
  }
  return true;
}

// The votes for circles of one radius after the other, and where they are most.
class Ballot {
 public:
  Ballot(const Voters& voters, const Grid& grid)
      : voters_(voters),
        grid_(grid),
        width_(static_cast<size_t>(grid.width)),
        chosen_(voters.x.size()),
        cells_(grid.Count() + 1),
        sums_(grid.Count()),
        columns_(width_),
        most_(static_cast<size_t>(grid.height)),
        columns_of_most_(width_ + 1) {}

  void AddPeaks(double radius, int polarity, int band, std::vector<Peak>* peaks) {
    FindCells(voters_, grid_, static_cast<float>(-polarity * radius), chosen_.data());
    std::fill(cells_.begin(), cells_.end(), std::uint16_t{0});
    for (size_t i = 0; i < chosen_.size(); ++i) {
      auto& cell = cells_[static_cast<size_t>(chosen_[i])];
      cell = static_cast<std::uint16_t>(cell + voters_.weight[i]);
    }
    const size_t last = most_.size() - 1;
    for (size_t row = 1; row < last; ++row) {
      const size_t start = row * width_;
      most_[row] = SumOfNine(cells_.data() + start, width_, columns_.data(), sums_.data() + start);
    }
    const double share = 1.0 / (2.0 * CV_PI * radius * kFullWeight);
    const auto least = static_cast<std::uint16_t>(kLeastSupport / share);
    for (size_t row = 1; row < last; ++row) {
      if (most_[row] < least) continue;
      const std::uint16_t* sums = sums_.data() + row * width_;
      const auto less = static_cast<std::uint16_t>(least - 1);
      const std::size_t count = FindAbove(sums + 1, width_ - 2, less, columns_of_most_.data());
      for (std::size_t i = 0; i < count; ++i) {
        const int column = columns_of_most_[i] + 1;
        if (!IsPeak(sums + column, width_)) continue;
        peaks->push_back({band, static_cast<int>(row), column, sums[column] * share});
      }
    }
  }

 private:
  const Voters& voters_;
  const Grid& grid_;
  size_t width_;
  std::vector<int> chosen_;
  std::vector<std::uint16_t> cells_;
  std::vector<std::uint16_t> sums_;  // 0 along the border
  std::vector<std::uint16_t> columns_;
  std::vector<std::uint16_t> most_;  // by row
  std::vector<int> columns_of_most_;
};

std::vector<double> RadiiOf(const CoarseSearch& search) {
  std::vector<double> radii;
  for (double r = search.from_radius; r < search.to_radius; r *= kRadiusRatio) radii.push_back(r);
  return radii;
}

// Best cells, each clear of the better ones by a fifth of the radius or by two bands.
std::vector<Peak> BestOf(std::vector<Peak> all, const std::vector<double>& radii, int num_peaks) {
  std::stable_sort(
      all.begin(), all.end(), [](const Peak& a, const Peak& b) { return a.support > b.support; });
  std::vector<Peak> best;
  for (const Peak& peak : all) {
    const double near = std::max(2.0, 0.2 * radii[static_cast<size_t>(peak.band)] / kCell);
    const bool taken = std::any_of(best.begin(), best.end(), [&](const Peak& other) {
      return std::abs(other.band - peak.band) <= 2 &&
             std::hypot(other.row - peak.row, other.column - peak.column) <= near;
    });
    if (taken) continue;
    best.push_back(peak);
    if (best.size() == static_cast<size_t>(num_peaks)) break;
  }
  return best;
}

}  // namespace

std::vector<CircleGuess> VoteForCircles(const Level& level, const CoarseSearch& search) {
  std::vector<CircleGuess> guesses;
  if (level.image.rows < 8 || level.image.cols < 8) return guesses;
  const Voters voters = FindVoters(level.image);
  const Grid grid = GridFor(level.image, search);
  const std::vector<double> radii = RadiiOf(search);
  Ballot ballot(voters, grid);
  for (const int polarity : {1, -1}) {
    std::vector<Peak> peaks;
    for (size_t band = 0; band < radii.size(); ++band) {
      ballot.AddPeaks(radii[band], polarity, static_cast<int>(band), &peaks);
    }
    const std::vector<Peak> best = BestOf(std::move(peaks), radii, search.num_guesses);
    for (const Peak& peak : best) {
      const cv::Point2d centre((peak.column - grid.margin + 0.5) * kCell - 0.5,
                               (peak.row - grid.margin + 0.5) * kCell - 0.5);
      const double radius = radii[static_cast<size_t>(peak.band)];
      guesses.push_back(
          {level.PictureOf(RimFrame::Circle(centre, radius)), polarity, peak.support});
    }
  }
  std::stable_sort(guesses.begin(), guesses.end(), [](const CircleGuess& a, const CircleGuess& b) {
    return a.support > b.support;
  });
  return guesses;
}

}  // namespace endgrade::locate
