#include "locate/coarse_search.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>

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

struct Voter {
  float x, y;    // position
  float dx, dy;  // unit vector towards the brighter side
  std::uint16_t weight;
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

std::vector<Voter> FindVoters(const cv::Mat& image) {
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
  std::vector<Voter> voters;
  for (int row = 1; row + 1 < size.rows; ++row) {
    const auto* p = size.ptr<float>(row);
    for (int column = 1; column + 1 < size.cols; ++column) {
      if (!(p[column] > least)) continue;
      const float sx = gx.at<float>(row, column);
      const float sy = gy.at<float>(row, column);
      if (!IsCrest(size, row, column, sx, sy)) continue;
      const float inverse = 1.0F / p[column];
      voters.push_back(
          {static_cast<float>(column),
           static_cast<float>(row),
           sx * inverse,
           sy * inverse,
           static_cast<std::uint16_t>(std::clamp(kFullWeight * p[column] / (kEnough * usual),
                                                 1.0F,
                                                 static_cast<float>(kFullWeight)))});
    }
  }
  return voters;
}

// One accumulator a radius: cells of centres, with room around the picture. CV_16UC1.
struct Votes {
  int margin = 0;  // cells
  std::vector<double> radii;
  std::vector<cv::Mat> cells;
};

// Each cell with its eight neighbours; 0 along the border.
cv::Mat SumOfNine(const cv::Mat& cells) {
  cv::Mat sums = cv::Mat::zeros(cells.size(), CV_16U);
  std::vector<std::uint16_t> columns(static_cast<size_t>(cells.cols));
  for (int row = 1; row + 1 < cells.rows; ++row) {
    const auto* above = cells.ptr<std::uint16_t>(row - 1);
    const auto* here = cells.ptr<std::uint16_t>(row);
    const auto* below = cells.ptr<std::uint16_t>(row + 1);
    for (int i = 0; i < cells.cols; ++i) {
      columns[static_cast<size_t>(i)] = static_cast<std::uint16_t>(above[i] + here[i] + below[i]);
    }
    auto* out = sums.ptr<std::uint16_t>(row);
    const auto* p = columns.data();
    for (int i = 1; i + 1 < cells.cols; ++i) {
      out[i] = static_cast<std::uint16_t>(p[i - 1] + p[i] + p[i + 1]);
    }
  }
  return sums;
}

Votes Accumulate(const cv::Mat& image,
                 const std::vector<Voter>& voters,
                 const CoarseSearch& search,
                 int polarity) {
  Votes votes;
  votes.margin = static_cast<int>(0.5 * search.to_radius / kCell) + 2;
  const int width = image.cols / kCell + 1 + 2 * votes.margin;
  const int height = image.rows / kCell + 1 + 2 * votes.margin;
  const float offset = static_cast<float>(votes.margin) + 0.5F / kCell;
  for (double r = search.from_radius; r < search.to_radius; r *= kRadiusRatio) {
    votes.radii.push_back(r);
    cv::Mat cells = cv::Mat::zeros(height, width, CV_16U);
    const auto reach = static_cast<float>(-polarity * r);
    for (const Voter& voter : voters) {
      const int column = static_cast<int>((voter.x + reach * voter.dx) / kCell + offset);
      const int row = static_cast<int>((voter.y + reach * voter.dy) / kCell + offset);
      if (column < 0 || row < 0 || column >= width || row >= height) continue;
      auto& cell = cells.at<std::uint16_t>(row, column);
      cell = static_cast<std::uint16_t>(cell + voter.weight);
    }
    votes.cells.push_back(SumOfNine(cells));
  }
  return votes;
}

struct Peak {
  int band, row, column;
  double support;
};

bool IsPeak(const cv::Mat& cells, int row, int column) {
  const auto here = cells.at<std::uint16_t>(row, column);
  for (int dy = -1; dy <= 1; ++dy) {
    for (int dx = -1; dx <= 1; ++dx) {
      if (cells.at<std::uint16_t>(row + dy, column + dx) > here) return false;
    }
  }
  return true;
}

// Best cells, each clear of the better ones by a fifth of the radius or by two bands.
std::vector<Peak> FindPeaks(const Votes& votes, int num_peaks) {
  std::vector<Peak> all;
  for (size_t band = 0; band < votes.radii.size(); ++band) {
    const cv::Mat& cells = votes.cells[band];
    const double share = 1.0 / (2.0 * CV_PI * votes.radii[band] * kFullWeight);
    const auto least = static_cast<std::uint16_t>(kLeastSupport / share);
    for (int row = 1; row + 1 < cells.rows; ++row) {
      const auto* p = cells.ptr<std::uint16_t>(row);
      for (int column = 1; column + 1 < cells.cols; ++column) {
        if (p[column] < least || !IsPeak(cells, row, column)) continue;
        all.push_back({static_cast<int>(band), row, column, p[column] * share});
      }
    }
  }
  std::stable_sort(
      all.begin(), all.end(), [](const Peak& a, const Peak& b) { return a.support > b.support; });
  std::vector<Peak> best;
  for (const Peak& peak : all) {
    const double near = std::max(2.0, 0.2 * votes.radii[static_cast<size_t>(peak.band)] / kCell);
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
  const std::vector<Voter> voters = FindVoters(level.image);
  for (const int polarity : {1, -1}) {
    const Votes votes = Accumulate(level.image, voters, search, polarity);
    for (const Peak& peak : FindPeaks(votes, search.num_guesses)) {
      const cv::Point2d centre((peak.column - votes.margin + 0.5) * kCell - 0.5,
                               (peak.row - votes.margin + 0.5) * kCell - 0.5);
      const double radius = votes.radii[static_cast<size_t>(peak.band)];
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
