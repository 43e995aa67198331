#include "detect/strokes.h"

#include "detect/blocks.h"
#include "detect/line_trace.h"
#include "detect/pieces.h"
#include "detect/runs.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <queue>
#include <utility>

namespace endgrade {
namespace {

constexpr double kLeastSigmas = 6.0;     // of one cell's noise: what counts as strong
constexpr double kLeastContrast = 0.08;  // of the glass
constexpr double kSealUm = 0.6;          // between a bright middle and its dark flanks
constexpr double kLeastLengthUm = 15.0;
constexpr double kLeastSlender = 4.0;  // length over width
constexpr double kMostWidthUm = 14.0;
constexpr double kThickestUm = 20.0;     // anywhere: a speck may lie on it
constexpr double kMostAreaUm2 = 6000.0;  // what is larger has branches, or is a film
constexpr double kLeastOnWay = 0.8;      // share of the cells near the middle line: no branches
constexpr double kNearOfWidth = 0.9;
constexpr double kNearCells = 2.0;
constexpr double kBesideRimUm = 5.0;
constexpr double kBesideCoreUm = 2.0;
constexpr double kMostAlongRim = 0.5;  // of its length: else it is the rim's own

// Where the height, of either sign, is strong.
cv::Mat Strong(const ContrastMap& map, const cv::Mat& smooth) {
  const auto least = static_cast<float>(kLeastContrast * map.glass_level);
  std::vector<float> bound;
  for (const double noise : map.ring_noise) {
    bound.push_back(std::max(least, static_cast<float>(kLeastSigmas * noise)));
  }
  cv::Mat strong = cv::Mat::zeros(smooth.size(), CV_8UC1);
  for (int y = 0; y < smooth.rows; ++y) {
    const auto* height = smooth.ptr<float>(y);
    const auto* radius = map.radius_um.ptr<float>(y);
    auto* out = strong.ptr<uchar>(y);
    ForEachReaching(height, smooth.cols, least, [&](int x) {
      out[x] = std::abs(height[x]) >= bound[map.RingOf(radius[x])] ? 255 : 0;
    });
  }
  const int seal = std::max(1, cvRound(kSealUm / map.um_per_cell));
  const cv::Size size(2 * seal + 1, 2 * seal + 1);
  cv::morphologyEx(
      strong, strong, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
  return strong;
}

// A piece in a frame of nothing, so that each of its cells has eight neighbours. Its cells are told
// by their index in it.
cv::Mat Framed(const cv::Mat& mask) {
  cv::Mat framed;
  cv::copyMakeBorder(mask, framed, 1, 1, 1, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
  return framed;
}

struct Neighbour {
  int off = 0;  // of its index
  float step = 0;
};

std::array<Neighbour, 8> NeighboursIn(const cv::Mat& framed) {
  constexpr float kAcross = 1.41421356F;
  const int row = framed.cols;
  return {{{-row - 1, kAcross},
           {-row, 1.0F},
           {-row + 1, kAcross},
           {-1, 1.0F},
           {1, 1.0F},
           {row - 1, kAcross},
           {row, 1.0F},
           {row + 1, kAcross}}};
}

constexpr float kFar = std::numeric_limits<float>::max();

// The cell that is farthest from `start` on ways within the piece; the topmost of several.
int FarthestFrom(const cv::Mat& framed, int start) {
  const auto* mask = framed.ptr<uchar>();
  const auto neighbours = NeighboursIn(framed);
  std::vector<float> lengths(framed.total(), kFar);
  // By whole lengths: as no step is shorter than 1, no cell is reached from another of its own.
  std::array<std::vector<int>, 3> open;
  open[0].push_back(start);
  lengths[static_cast<size_t>(start)] = 0;
  for (size_t whole = 0; !open[whole % 3].empty() || !open[(whole + 1) % 3].empty(); ++whole) {
    for (const int at : open[whole % 3]) {
      const float length = lengths[static_cast<size_t>(at)];
      if (static_cast<size_t>(length) != whole) continue;  // there was a shorter way
      for (const auto& [off, step] : neighbours) {
        float& there = lengths[static_cast<size_t>(at + off)];
        if (!mask[at + off] || length + step >= there) continue;
        there = length + step;
        open[static_cast<size_t>(there) % 3].push_back(at + off);
      }
    }
    open[whole % 3].clear();
  }
  int best = start;
  float most = 0;
  for (int i = 0; i < static_cast<int>(lengths.size()); ++i) {
    const float length = lengths[static_cast<size_t>(i)];
    if (length == kFar || length <= most) continue;
    most = length;
    best = i;
  }
  return best;
}

// The cheapest way from one cell to another, from its end to its beginning (Dijkstra). A step costs
// its length times the mean of `cost` at its ends; `cost` is CV_32FC1, of the frame's size.
std::vector<int> CheapestWay(const cv::Mat& framed, const cv::Mat& cost, int start, int end) {
  constexpr int kNone = -1;
  const auto* mask = framed.ptr<uchar>();
  const auto* costs = cost.ptr<float>();
  const auto neighbours = NeighboursIn(framed);
  std::vector<float> lengths(framed.total(), kFar);
  std::vector<int> from(framed.total(), kNone);
  using Entry = std::pair<float, int>;  // ties are decided by the index: always the same way
  std::priority_queue<Entry, std::vector<Entry>, std::greater<>> open;
  lengths[static_cast<size_t>(start)] = 0;
  open.emplace(0.0F, start);
  while (!open.empty()) {
    const auto [length, at] = open.top();
    open.pop();
    if (at == end) break;  // nothing shorter is to come
    if (length > lengths[static_cast<size_t>(at)]) continue;
    for (const auto& [off, step] : neighbours) {
      const int next = at + off;
      if (!mask[next]) continue;
      const float there = length + 0.5F * step * (costs[at] + costs[next]);
      if (there >= lengths[static_cast<size_t>(next)]) continue;
      lengths[static_cast<size_t>(next)] = there;
      from[static_cast<size_t>(next)] = at;
      open.emplace(there, next);
    }
  }
  std::vector<int> way;
  for (int at = end; at != kNone; at = from[static_cast<size_t>(at)]) way.push_back(at);
  return way;
}

// How far each cell of a mask is from what lies outside of it.
cv::Mat DepthOf(const cv::Mat& framed) {
  cv::Mat depth;
  cv::distanceTransform(framed, depth, cv::DIST_L2, cv::DIST_MASK_5);
  return depth;
}

// The way through the middle of the piece between its two ends, which are as far apart as can be:
// cells of the piece without its frame.
std::vector<cv::Point> MiddleLine(const cv::Mat& framed, const cv::Mat& depth) {
  const auto* mask = framed.ptr<uchar>();
  const int any = static_cast<int>(std::find(mask, mask + framed.total(), 255) - mask);
  const int one = FarthestFrom(framed, any);
  const int other = FarthestFrom(framed, one);
  cv::Mat cost;
  cv::pow(depth + 0.25, -2.0, cost);
  std::vector<cv::Point> way;
  for (const int at : CheapestWay(framed, cost, one, other)) {
    way.emplace_back(at % framed.cols - 1, at / framed.cols - 1);
  }
  return way;
}

// The way without its steps from cell to cell: the mean over `reach` to either side.
std::vector<cv::Point2d> Smoothed(const std::vector<cv::Point>& way, int reach, cv::Point corner) {
  std::vector<cv::Point2d> line;
  const int count = static_cast<int>(way.size());
  for (int i = 0; i < count; ++i) {
    const int near = std::min({reach, i, count - 1 - i});
    cv::Point2d sum(0, 0);
    for (int j = i - near; j <= i + near; ++j) sum += cv::Point2d(way[static_cast<size_t>(j)]);
    line.push_back(sum * (1.0 / (2 * near + 1)) + cv::Point2d(corner));
  }
  return line;
}

// What lies within `reach` of a cell, as half widths by row.
std::vector<int> DiscWithin(double reach) {
  const int rows = cvCeil(reach) + 1;
  cv::Mat off(2 * rows + 1, 2 * rows + 1, CV_8UC1, cv::Scalar(255));
  off.at<uchar>(rows, rows) = 0;
  cv::Mat distance;
  cv::distanceTransform(off, distance, cv::DIST_L2, cv::DIST_MASK_5);
  const cv::Mat within = distance <= reach;
  std::vector<int> half;
  for (int y = 0; y < within.rows; ++y) {
    half.push_back((cv::countNonZero(within.row(y)) + 1) / 2 - 1);
  }
  return half;
}

// Share of the cells within `reach` of the way.
double ShareNear(const cv::Mat& mask, const std::vector<cv::Point>& way, double reach) {
  cv::Mat on = cv::Mat::zeros(mask.size(), CV_8UC1);
  for (const cv::Point& cell : way) on.at<uchar>(cell) = 255;
  const cv::Mat near = Widened(on, DiscWithin(reach)) & mask;
  return static_cast<double>(cv::countNonZero(near)) / cv::countNonZero(mask);
}

double ShareAlongRim(const ContrastMap& map, const std::vector<cv::Point2d>& line) {
  size_t beside = 0;
  for (const cv::Point2d& p : line) {
    const auto radius = static_cast<double>(map.radius_um.at<float>(cvRound(p.y), cvRound(p.x)));
    beside += std::abs(radius - map.cladding_radius_um) < kBesideRimUm ||
              (map.core_radius_um > 0 && std::abs(radius - map.core_radius_um) < kBesideCoreUm);
  }
  return static_cast<double>(beside) / static_cast<double>(line.size());
}

// Fills all but box and mask of a piece; false where it is no stroke.
bool Follow(const ContrastMap& map, int area, Stroke* stroke) {
  const double um = map.um_per_cell;
  const cv::Mat framed = Framed(stroke->mask);
  const cv::Mat depth = DepthOf(framed);
  double deepest = 0;
  cv::minMaxLoc(depth, nullptr, &deepest);
  if (2.0 * deepest * um > kThickestUm) return false;
  stroke->way = MiddleLine(framed, depth);
  const double length = LengthOf(Smoothed(stroke->way, 2, stroke->box.tl()));
  const double width = area / std::max(1.0, length);
  if (length * um < kLeastLengthUm || length < kLeastSlender * width) return false;
  if (width * um > kMostWidthUm) return false;
  if (ShareNear(stroke->mask, stroke->way, kNearOfWidth * width + kNearCells) < kLeastOnWay) {
    return false;
  }
  stroke->width_cells = width;
  stroke->line = Smoothed(stroke->way, std::max(2, cvRound(width)), stroke->box.tl());
  return ShareAlongRim(map, stroke->line) <= kMostAlongRim;
}

}  // namespace

cv::Mat SmoothForStrokes(const ContrastMap& map, const cv::Mat& residual) {
  cv::Mat smooth;
  cv::GaussianBlur(residual, smooth, cv::Size(), std::max(0.8, 0.6 * map.blur_sigma_cells));
  return smooth;
}

std::vector<Stroke> FindStrokes(const ContrastMap& map, const cv::Mat& smooth) {
  std::vector<Stroke> strokes;
  for (const MaskPiece& piece : PiecesOf(Strong(map, smooth), Touching::kSidesAndCorners)) {
    const double box_um = std::hypot(piece.box.width, piece.box.height) * map.um_per_cell;
    const double area_um2 = piece.area * map.um_per_cell * map.um_per_cell;
    if (box_um < 0.6 * kLeastLengthUm || area_um2 > kMostAreaUm2) continue;
    Stroke stroke;
    stroke.box = piece.box;
    stroke.mask = MaskOf(piece);
    if (Follow(map, piece.area, &stroke)) strokes.push_back(std::move(stroke));
  }
  return strokes;
}

}  // namespace endgrade
