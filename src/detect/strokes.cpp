#include "detect/strokes.h"

#include "detect/line_trace.h"
#include "detect/pieces.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
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
    for (int x = 0; x < smooth.cols; ++x) {
      if (std::abs(height[x]) < least) continue;
      out[x] = std::abs(height[x]) >= bound[map.RingOf(radius[x])] ? 255 : 0;
    }
  }
  const int seal = std::max(1, cvRound(kSealUm / map.um_per_cell));
  const cv::Size size(2 * seal + 1, 2 * seal + 1);
  cv::morphologyEx(
      strong, strong, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
  return strong;
}

// Ways from one cell of a mask to all others.
struct Ways {
  cv::Mat length;  // CV_32FC1
  cv::Mat from;    // CV_32SC1: index of the cell before; -1 at the start and where no way leads
};

// Dijkstra over the eight neighbours; a step costs its length times the mean of `cost` at its ends.
Ways WaysFrom(const cv::Mat& mask, const cv::Mat& cost, cv::Point start) {
  Ways ways{cv::Mat(mask.size(), CV_32FC1, cv::Scalar(std::numeric_limits<float>::max())),
            cv::Mat(mask.size(), CV_32SC1, cv::Scalar(-1))};
  using Entry = std::pair<float, int>;  // ties are decided by the index: always the same way
  std::priority_queue<Entry, std::vector<Entry>, std::greater<>> open;
  ways.length.at<float>(start) = 0;
  open.emplace(0.0F, start.y * mask.cols + start.x);
  const cv::Rect whole({0, 0}, mask.size());
  while (!open.empty()) {
    const auto [length, index] = open.top();
    open.pop();
    const cv::Point at(index % mask.cols, index / mask.cols);
    if (length > ways.length.at<float>(at)) continue;
    for (int dy = -1; dy <= 1; ++dy) {
      for (int dx = -1; dx <= 1; ++dx) {
        const cv::Point next(at.x + dx, at.y + dy);
        if (next == at || !whole.contains(next) || !mask.at<uchar>(next)) continue;
        const float step = dx != 0 && dy != 0 ? 1.41421356F : 1.0F;
        const float there = length + 0.5F * step * (cost.at<float>(at) + cost.at<float>(next));
        if (there >= ways.length.at<float>(next)) continue;
        ways.length.at<float>(next) = there;
        ways.from.at<int>(next) = index;
        open.emplace(there, next.y * mask.cols + next.x);
      }
    }
  }
  return ways;
}

cv::Point Farthest(const cv::Mat& mask, const Ways& ways) {
  cv::Point best;
  float most = -1;
  for (int y = 0; y < mask.rows; ++y) {
    for (int x = 0; x < mask.cols; ++x) {
      const float length = ways.length.at<float>(y, x);
      if (mask.at<uchar>(y, x) && length > most && length < std::numeric_limits<float>::max()) {
        most = length;
        best = {x, y};
      }
    }
  }
  return best;
}

std::vector<cv::Point> WayTo(const Ways& ways, cv::Point end) {
  std::vector<cv::Point> way = {end};
  const int columns = ways.from.cols;
  for (int index = ways.from.at<int>(end); index >= 0;
       index = ways.from.at<int>(index / columns, index % columns)) {
    way.emplace_back(index % columns, index / columns);
  }
  return way;
}

// How far each cell of a mask is from what lies outside of it.
cv::Mat DepthOf(const cv::Mat& mask) {
  cv::Mat framed;  // what lies beyond the box is outside
  cv::copyMakeBorder(mask, framed, 1, 1, 1, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::Mat depth;
  cv::distanceTransform(framed, depth, cv::DIST_L2, cv::DIST_MASK_5);
  return depth(cv::Rect({1, 1}, mask.size()));
}

// The way through the middle of the piece between its two ends, which are as far apart as can be.
std::vector<cv::Point> MiddleLine(const cv::Mat& mask, const cv::Mat& depth) {
  const cv::Mat even(mask.size(), CV_32FC1, cv::Scalar(1.0F));
  cv::Point any;
  for (int i = 0; i < static_cast<int>(mask.total()); ++i) {
    const cv::Point at(i % mask.cols, i / mask.cols);
    if (!mask.at<uchar>(at)) continue;
    any = at;
    break;
  }
  const cv::Point one = Farthest(mask, WaysFrom(mask, even, any));
  const cv::Point other = Farthest(mask, WaysFrom(mask, even, one));
  cv::Mat cost;
  cv::pow(depth + 0.25, -2.0, cost);
  return WayTo(WaysFrom(mask, cost, one), other);
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

// Share of the cells within `reach` of the way.
double ShareNear(const cv::Mat& mask, const std::vector<cv::Point>& way, double reach) {
  cv::Mat off(mask.size(), CV_8UC1, cv::Scalar(255));
  for (const cv::Point& cell : way) off.at<uchar>(cell) = 0;
  cv::Mat distance;
  cv::distanceTransform(off, distance, cv::DIST_L2, cv::DIST_MASK_5);
  const cv::Mat near = (distance <= reach) & mask;
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
  const cv::Mat depth = DepthOf(stroke->mask);
  double deepest = 0;
  cv::minMaxLoc(depth, nullptr, &deepest);
  if (2.0 * deepest * um > kThickestUm) return false;
  stroke->way = MiddleLine(stroke->mask, depth);
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
