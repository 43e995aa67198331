#include "detect/middle_of_bar.h"

#include "detect/direction.h"
#include "detect/line_trace.h"
#include "detect/median.h"
#include "detect/sample.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace endgrade {
namespace {

constexpr double kStep = 3.0;         // cells along the spine
constexpr double kAcross = 0.5;       // cells
constexpr double kLeastWindow = 8.0;  // cells along the spine, whose middles are one
constexpr double kFlankReach = 2.0;   // times reach_cells: the spine may run along a flank
constexpr double kLeastHeight = 0.4;  // of the line's
constexpr double kLeastTold = 0.75;   // of the places along the spine
constexpr double kMostScatter = 0.7;  // cells, median of one place off its neighbours
constexpr double kLeastMove = 0.3;    // cells
constexpr int kRounds = 2;

cv::Point2d LeftOf(cv::Point2d u) { return {-u.y, u.x}; }

// Half-way between the flanks, as an offset in steps from the profile's first value. Its height is
// looked for within `near` steps of the spine: another line may lie farther off.
std::optional<double> MiddleOf(const std::vector<double>& profile, std::ptrdiff_t near) {
  const auto spine = static_cast<std::ptrdiff_t>(profile.size() / 2);
  const auto middle = profile.begin() + spine;
  const double height = *std::max_element(middle - near, middle + near + 1);
  if (height < kLeastHeight) return std::nullopt;
  const double half = 0.5 * height;
  // From the place above half that is nearest to the spine.
  const auto size = static_cast<std::ptrdiff_t>(profile.size());
  const auto at = [&](std::ptrdiff_t i) { return profile[static_cast<size_t>(i)]; };
  std::ptrdiff_t start = -1;
  for (std::ptrdiff_t i = 0; i < size; ++i) {
    if (at(i) >= half && (start < 0 || std::abs(i - spine) < std::abs(start - spine))) start = i;
  }
  std::ptrdiff_t left = start;
  while (left > 0 && at(left) >= half) --left;
  std::ptrdiff_t right = start;
  while (right + 1 < size && at(right) >= half) ++right;
  if (at(left) >= half || at(right) >= half) return std::nullopt;  // a flank is out of reach
  const double left_at = static_cast<double>(left) + (half - at(left)) / (at(left + 1) - at(left));
  const double right_at =
      static_cast<double>(right) - (half - at(right)) / (at(right - 1) - at(right));
  return 0.5 * (left_at + right_at);
}

// By how much to move each of the points to its left; where nothing is told, as its neighbours.
std::vector<double> Moves(const std::vector<std::optional<double>>& told, int half) {
  const int count = static_cast<int>(told.size());
  std::vector<double> moves(told.size(), 0.0);
  for (int i = 0; i < count; ++i) {
    std::vector<double> near;
    for (int reach = half; near.empty() && reach <= count + half; reach += half) {
      for (int j = std::max(0, i - reach); j <= std::min(count - 1, i + reach); ++j) {
        if (told[static_cast<size_t>(j)]) near.push_back(*told[static_cast<size_t>(j)]);
      }
    }
    if (!near.empty()) moves[static_cast<size_t>(i)] = MedianIn(std::move(near));
  }
  return moves;
}

bool MoveOnce(const cv::Mat& residual,
              double peak,
              double window,
              double reach_cells,
              std::vector<cv::Point2d>* spine) {
  const std::vector<cv::Point2d> points = Resample(*spine, kStep);
  const int count = static_cast<int>(points.size());
  if (count < 3) return false;
  const int across = static_cast<int>(std::ceil(kFlankReach * reach_cells / kAcross));
  // Its direction over a window: where it changes from flank to flank the spine itself turns.
  const int around = std::max(2, static_cast<int>(std::lround(2.0 * window / kStep)));
  std::vector<cv::Point2d> sides;
  std::vector<std::vector<double>> rows;
  for (int i = 0; i < count; ++i) {
    const cv::Point2d ahead = points[static_cast<size_t>(std::min(i + around, count - 1))];
    const cv::Point2d behind = points[static_cast<size_t>(std::max(i - around, 0))];
    sides.push_back(LeftOf(Unit(ahead - behind)));
    std::vector<double> row;
    for (int s = -across; s <= across; ++s) {
      const cv::Point2d p = points[static_cast<size_t>(i)] + sides.back() * (s * kAcross);
      row.push_back(SampleAt(residual, p) / peak);
    }
    rows.push_back(std::move(row));
  }
  const int half = std::max(1, static_cast<int>(std::lround(0.5 * window / kStep)));
  std::vector<std::optional<double>> told(points.size());
  int num_told = 0;
  // Row by row: means along a spine that changes sides would blur the flanks.
  for (int i = 0; i < count; ++i) {
    const auto middle = MiddleOf(rows[static_cast<size_t>(i)], across / 2);
    if (!middle) continue;
    told[static_cast<size_t>(i)] = (*middle - across) * kAcross;
    ++num_told;
  }
  if (num_told < kLeastTold * count) return false;
  const std::vector<double> moves = Moves(told, half);
  // Noise tells neighbours different middles.
  std::vector<double> scatter;
  for (int i = 0; i < count; ++i) {
    const auto& one = told[static_cast<size_t>(i)];
    if (one) scatter.push_back(std::abs(*one - moves[static_cast<size_t>(i)]));
  }
  if (MedianIn(std::move(scatter)) > kMostScatter) return false;
  double most = 0;
  spine->clear();
  for (int i = 0; i < count; ++i) {
    const double move = moves[static_cast<size_t>(i)];
    most = std::max(most, std::abs(move));
    spine->push_back(points[static_cast<size_t>(i)] + sides[static_cast<size_t>(i)] * move);
  }
  return most > kLeastMove;
}

}  // namespace

bool MoveToMiddleOfBar(const cv::Mat& residual,
                       double peak,
                       double width_cells,
                       double reach_cells,
                       std::vector<cv::Point2d>* spine) {
  const double window = std::max(kLeastWindow, width_cells);
  std::vector<cv::Point2d> moved = *spine;
  bool any = false;
  for (int round = 0; round < kRounds; ++round) {
    if (!MoveOnce(residual, peak, window, reach_cells, &moved)) break;
    any = true;
  }
  if (any) *spine = std::move(moved);
  return any;
}

}  // namespace endgrade
