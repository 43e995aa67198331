#include "detect/bent_strokes.h"

#include "detect/direction.h"
#include "detect/line_trace.h"
#include "detect/sample.h"
#include "detect/stroke_chains.h"
#include "detect/strokes.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

namespace endgrade {
namespace {

// A hair is wide, and bends. A thin one is a crack where it goes on in another direction, or
// wanders to and fro.
constexpr double kWideUm = 4.0;
constexpr double kStrayUm = 0.8;
constexpr double kStrayCells = 1.5;
constexpr double kStrayOfWidth = 0.15;
constexpr double kStrayOfLength = 0.01;
constexpr double kLegUm = 0.8;  // how far a crack's legs may be off straight ones
constexpr double kLegCells = 1.5;
constexpr size_t kManyCorners = 5;    // with both ends
constexpr double kWandering = 0.45;   // of the straying that is enough by itself
constexpr double kClearUm = 1.0;      // beyond the width: between two legs that part
constexpr double kFarthestUm = 12.0;  // from the corner at which that is
constexpr double kOnCells = 6.0;      // and so much farther
constexpr double kLikeLegs = 1.7;     // ratio of contrasts
// So many scratches do not meet end to end by chance, but two bent ones may: where the line turns
// sharply it is not one crack that wanders.
constexpr int kManyLegs = 5;
constexpr double kLikeManyLegs = 3.0;
constexpr double kSharpTurn = 0.35;  // cosine: 70 degrees
constexpr double kTellingLegUm = 3.0;
constexpr double kPastShare = 0.3;  // of its height: a leg that goes on past the corner

constexpr double kFlankedUm = 4.5;
constexpr double kFlankShare = 0.35;   // of the middle and its flanks the weaker over the stronger
constexpr double kFlankedShare = 0.6;  // of the length

constexpr double kBorderShare = 0.35;  // of the greatest height beside it

// The ends of the straight pieces that make up the line, as nearly as a crack's legs are straight.
std::vector<cv::Point2d> CornersOf(const ContrastMap& map, const std::vector<cv::Point2d>& line) {
  const std::vector<cv::Point2f> points(line.begin(), line.end());
  std::vector<cv::Point2f> corners;
  cv::approxPolyDP(points, corners, std::max(kLegUm / map.um_per_cell, kLegCells), false);
  return {corners.begin(), corners.end()};
}

// Mean height along a leg, away from its ends.
double HeightOf(const cv::Mat& smooth, cv::Point2d from, cv::Point2d to) {
  constexpr int kLooks = 6;
  double sum = 0;
  for (int i = 0; i < kLooks; ++i) sum += SampleAt(smooth, from + (to - from) * (0.25 + 0.1 * i));
  return sum / kLooks;
}

// Whether the leg from `from` to `corner` goes on straight beyond it, where the other leg, on to
// `to`, turns away: looked for as soon as the two are clear of one another.
bool GoesOnPast(const ContrastMap& map,
                const cv::Mat& smooth,
                const std::array<cv::Point2d, 3>& from_corner_to,
                double width_cells) {
  const auto& [from, corner, to] = from_corner_to;
  const cv::Point2d along = Unit(corner - from);
  const double turn = std::abs(along.cross(Unit(to - corner)));  // sine of the angle
  const double clear = (width_cells + kClearUm / map.um_per_cell) / std::max(turn, 1e-9);
  if (clear * map.um_per_cell > kFarthestUm) return false;
  const double on = HeightOf(smooth, from, corner);
  // All the way: else it is something that lies beyond.
  for (double at = 0.8 * clear; at < clear + kOnCells; at += 1.0) {
    if (SampleAt(smooth, corner + along * at) * on < kPastShare * on * on) return false;
  }
  return true;
}

// Whether a leg goes on past a corner: two scratches cross there.
bool HasACrossing(const ContrastMap& map,
                  const cv::Mat& smooth,
                  const std::vector<cv::Point2d>& corners,
                  double width_cells) {
  for (size_t i = 1; i + 1 < corners.size(); ++i) {
    const cv::Point2d& before = corners[i - 1];
    const cv::Point2d& after = corners[i + 1];
    if (GoesOnPast(map, smooth, {before, corners[i], after}, width_cells) ||
        GoesOnPast(map, smooth, {after, corners[i], before}, width_cells)) {
      return true;
    }
  }
  return false;
}

bool TurnsSharply(const std::vector<cv::Point2d>& corners) {
  for (size_t i = 1; i + 1 < corners.size(); ++i) {
    const cv::Point2d in = Unit(corners[i] - corners[i - 1]);
    if (in.dot(Unit(corners[i + 1] - corners[i])) < kSharpTurn) return true;
  }
  return false;
}

// Whether the legs are of one make. Two scratches that happen to meet seldom are.
bool AreAlike(const ContrastMap& map,
              const cv::Mat& smooth,
              const std::vector<cv::Point2d>& corners) {
  double low = std::numeric_limits<double>::infinity();
  double high = 0;
  int signs = 0;
  int legs = 0;
  for (size_t i = 1; i < corners.size(); ++i) {
    const cv::Point2d run = corners[i] - corners[i - 1];
    if (std::hypot(run.x, run.y) * map.um_per_cell < kTellingLegUm) continue;
    // Of the first and the last the end, where nothing else is near.
    cv::Point2d from = corners[i - 1];
    cv::Point2d to = corners[i];
    if (i == 1) to -= 0.4 * run;
    if (i + 1 == corners.size()) from += 0.4 * run;
    const double light = SampleAt(map.background, 0.5 * (from + to));
    const double height = HeightOf(smooth, from, to) / std::max(1.0, light);
    low = std::min(low, std::abs(height));
    high = std::max(high, std::abs(height));
    signs += height < 0 ? -1 : 1;
    ++legs;
  }
  const bool wanders = legs >= kManyLegs && !TurnsSharply(corners);
  return std::abs(signs) == legs && high <= (wanders ? kLikeManyLegs : kLikeLegs) * low;
}

// Whether the line ends in the direction in which it began, and in line with it: a straight scratch
// that another crosses at a small angle, so that where they lie on one another its way is anywhere
// between the two.
bool GoesOnInItself(const ContrastMap& map,
                    const std::vector<cv::Point2d>& line,
                    const std::vector<cv::Point2d>& corners) {
  constexpr double kEndLeg = 0.2;  // of its length
  const double most_off = 0.5 * std::max(kLegUm / map.um_per_cell, kLegCells);
  const double least_leg = kEndLeg * LengthOf(line);
  const cv::Point2d first = corners[1] - corners.front();
  const cv::Point2d last = corners.back() - corners[corners.size() - 2];
  if (std::hypot(first.x, first.y) < least_leg || std::hypot(last.x, last.y) < least_leg) {
    return false;
  }
  const cv::Point2d along = Unit(corners.back() - corners.front());
  return std::abs(along.cross(first)) <= most_off && std::abs(along.cross(last)) <= most_off;
}

bool IsBent(const ContrastMap& map,
            const cv::Mat& smooth,
            const std::vector<cv::Point2d>& line,
            double width_cells) {
  const double most = std::max(kStrayUm / map.um_per_cell, kStrayCells) +
                      kStrayOfWidth * width_cells + kStrayOfLength * LengthOf(line);
  const double straying = Straying(line);
  if (width_cells * map.um_per_cell >= kWideUm) return straying > most;
  if (straying <= kWandering * most) return false;
  const std::vector<cv::Point2d> corners = CornersOf(map, line);
  if (straying <= most && (corners.size() < kManyCorners || GoesOnInItself(map, line, corners))) {
    return false;
  }
  return !HasACrossing(map, smooth, corners, width_cells) && AreAlike(map, smooth, corners);
}

// Whether its middle is of one sign and what lies to either side of it of the other, nearly as
// strongly, over most of its length: light goes through a hair as through a lens. A scratch has one
// side like that at most, and what a camera's sharpening leaves beside it is weaker.
bool HasFlanks(const ContrastMap& map,
               const cv::Mat& smooth,
               const Stroke& stroke,
               double fringe_share) {
  if (stroke.width_cells * map.um_per_cell < kFlankedUm) return false;
  const double least = std::max(kFlankShare, fringe_share);
  const auto& line = stroke.line;
  size_t flanked = 0;
  for (size_t i = 0; i < line.size(); ++i) {
    const cv::Point2d along =
        Unit(line[std::min(line.size() - 1, i + 3)] - line[i - std::min<size_t>(i, 3)]);
    const auto at = [&](double part) {
      const cv::Point2d across(-along.y, along.x);
      return SampleAt(smooth, line[i] + across * (part * stroke.width_cells));
    };
    const double middle = (at(-0.1) + at(0.0) + at(0.1)) / 3;
    const double left = (at(-0.42) + at(-0.34) + at(-0.26)) / 3;
    const double right = (at(0.42) + at(0.34) + at(0.26)) / 3;
    const double weaker = std::min(std::abs(left), std::abs(right));
    const double low = std::min(weaker, std::abs(middle));
    const double high = std::max(weaker, std::abs(middle));
    flanked += middle * left < 0 && middle * right < 0 && low >= least * high;
  }
  return static_cast<double>(flanked) >= kFlankedShare * static_cast<double>(line.size());
}

// Greatest height of the stroke beside each of its cells, whichever sign: CV_32FC1, of the box.
cv::Mat HeightBeside(const Stroke& stroke, const cv::Mat& height, size_t window) {
  cv::Mat off(stroke.mask.size(), CV_8UC1, cv::Scalar(255));
  for (const cv::Point& cell : stroke.way) off.at<uchar>(cell) = 0;
  cv::Mat distance;
  cv::Mat label;  // of the nearest cell of the way
  cv::distanceTransform(off, distance, label, cv::DIST_L2, cv::DIST_MASK_5, cv::DIST_LABEL_PIXEL);
  const size_t count = stroke.way.size();
  std::vector<size_t> place(count + 1, 0);
  for (size_t i = 0; i < count; ++i) {
    place[static_cast<size_t>(label.at<int>(stroke.way[i]))] = i;
  }
  const auto place_of = [&](int y, int x) {
    return place[static_cast<size_t>(label.at<int>(y, x))];
  };
  std::vector<float> highest(count, 0.0F);
  for (int y = 0; y < height.rows; ++y) {
    for (int x = 0; x < height.cols; ++x) {
      if (!stroke.mask.at<uchar>(y, x)) continue;
      float& here = highest[place_of(y, x)];
      here = std::max(here, height.at<float>(y, x));
    }
  }
  std::vector<float> around(count, 0.0F);
  for (size_t i = 0; i < count; ++i) {
    const auto from = static_cast<std::ptrdiff_t>(i - std::min(i, window));
    const auto to = static_cast<std::ptrdiff_t>(std::min(count, i + window + 1));
    around[i] = *std::max_element(highest.begin() + from, highest.begin() + to);
  }
  cv::Mat beside(height.size(), CV_32FC1);
  for (int y = 0; y < height.rows; ++y) {
    for (int x = 0; x < height.cols; ++x) beside.at<float>(y, x) = around[place_of(y, x)];
  }
  return beside;
}

// The stroke without its soft edge; all that its border goes round, for a hair's middle may be as
// bright as the glass.
cv::Mat BodyOf(const Stroke& stroke, const cv::Mat& smooth) {
  const cv::Mat height = cv::abs(smooth(stroke.box));
  const int half = std::max(2, cvRound(0.5 * stroke.width_cells));
  const cv::Mat border = kBorderShare * HeightBeside(stroke, height, static_cast<size_t>(half));
  cv::Mat body = (height >= border) & stroke.mask;
  for (const cv::Point& cell : stroke.way) body.at<uchar>(cell) = 255;
  cv::Mat sealed;
  cv::copyMakeBorder(body, sealed, half, half, half, half, cv::BORDER_CONSTANT, cv::Scalar(0));
  const cv::Size size(2 * half + 1, 2 * half + 1);
  cv::morphologyEx(
      sealed, sealed, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
  return sealed(cv::Rect({half, half}, stroke.mask.size())) & stroke.mask;
}

// Where the chain is, of the whole map: `part` gives the mask of a stroke. What parts two strokes
// is bridged, as the hair is one.
template <typename Part>
cv::Mat MaskOf(const StrokeChain& chain,
               const std::vector<Stroke>& strokes,
               cv::Size size,
               Part part) {
  cv::Mat mask = cv::Mat::zeros(size, CV_8UC1);
  double narrowest = chain.width_cells;
  for (const size_t i : chain.strokes) {
    mask(strokes[i].box).setTo(255, part(strokes[i]));
    narrowest = std::min(narrowest, strokes[i].width_cells);
  }
  constexpr double kApart = 3.0;  // cells; points of one stroke are nearer
  for (size_t i = 1; i < chain.line.size(); ++i) {
    const cv::Point from = chain.line[i - 1];
    const cv::Point to = chain.line[i];
    if (std::hypot(to.x - from.x, to.y - from.y) < kApart) continue;
    cv::line(mask, from, to, cv::Scalar(255), std::max(1, cvRound(narrowest)));
  }
  return mask;
}

Region RegionOf(const ContrastMap& map, const cv::Mat& smooth, const cv::Mat& body) {
  Region region;
  cv::findNonZero(body, region.cells);
  for (const cv::Point& cell : region.cells) {
    const auto height = static_cast<double>(smooth.at<float>(cell));
    if (std::abs(height) <= std::abs(region.depth)) continue;
    region.depth = height;
    region.peak = cell;
  }
  const float radius = map.radius_um.at<float>(cv::Point(region.peak));
  region.snr = std::abs(region.depth) / std::max(1e-9, map.ring_noise[map.RingOf(radius)]);
  region.edge.assign(region.cells.begin(), region.cells.end());
  region.body_cells = region.cells.size();
  region.no_scratch = true;
  return region;
}

}  // namespace

std::vector<Region> TakeOutBentStrokes(const ContrastMap& map,
                                       double fringe_share,
                                       cv::Mat* residual) {
  const cv::Mat smooth = SmoothForStrokes(map, *residual);
  const std::vector<Stroke> strokes = FindStrokes(map, smooth);
  std::vector<Region> found;
  cv::Mat taken;
  const auto is_no_scratch = [&](const StrokeChain& chain) {
    return std::any_of(
               chain.strokes.begin(),
               chain.strokes.end(),
               [&](size_t i) { return HasFlanks(map, smooth, strokes[i], fringe_share); }) ||
           IsBent(map, smooth, chain.line, chain.width_cells);
  };
  std::vector<StrokeChain> chains;
  for (StrokeChain& chain : ChainsOf(map, strokes)) {
    if (is_no_scratch(chain)) {
      chains.push_back(std::move(chain));
    } else if (chain.strokes.size() > 1) {  // each may still be something by itself
      for (const size_t i : chain.strokes) {
        StrokeChain one{{i}, strokes[i].line, strokes[i].width_cells};
        if (is_no_scratch(one)) chains.push_back(std::move(one));
      }
    }
  }
  for (const StrokeChain& chain : chains) {
    const cv::Mat body = MaskOf(chain, strokes, smooth.size(), [&](const Stroke& stroke) {
      return BodyOf(stroke, smooth);
    });
    found.push_back(RegionOf(map, smooth, body));
    const cv::Mat whole =
        MaskOf(chain, strokes, smooth.size(), [](const Stroke& stroke) { return stroke.mask; });
    taken = taken.empty() ? whole : taken | whole;
  }
  if (found.empty()) return found;
  const int soft = 1 + cvCeil(2.0 * std::max(0.8, map.blur_sigma_cells));
  const cv::Size size(2 * soft + 1, 2 * soft + 1);
  cv::dilate(taken, taken, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
  if (residual->data == map.residual.data) *residual = map.residual.clone();
  residual->setTo(0.0F, taken);
  std::stable_sort(found.begin(), found.end(), [](const Region& a, const Region& b) {
    return std::abs(a.depth) > std::abs(b.depth);
  });
  return found;
}

}  // namespace endgrade
