#include "measure/scratch_ends.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kBesideUm = 1.5;  // beyond both half widths and the blur
// Where two run at less than 20 degrees, the weaker is lost sooner, in the stronger one's band.
constexpr double kBesideAlongUm = 5.0;
constexpr double kAlongCosine = 0.94;
constexpr double kMiddleUm = 4.0;  // what lies nearer to the other's own end meets it there

// What is left of a scratch that runs along a stronger one is no longer than this, and fainter than
// this share of that: a plain speck is a speck.
constexpr double kLeftoverUm = 12.0;
constexpr double kLeftoverDepth = 0.5;

double Apart(cv::Point2d a, cv::Point2d b) { return std::hypot(a.x - b.x, a.y - b.y); }

// How near a line's end must come to another, in cells.
struct Reach {
  double across = 0, along = 0, middle = 0;
};

// The smallest upright rectangle around a spine.
cv::Rect2d BoxOf(const std::vector<cv::Point2d>& spine) {
  cv::Point2d low = spine.front();
  cv::Point2d high = low;
  for (const cv::Point2d& p : spine) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  }
  return {low, high};
}

bool IsNear(cv::Point2d p, const cv::Rect2d& box, double reach) {
  return p.x >= box.x - reach && p.x <= box.x + box.width + reach && p.y >= box.y - reach &&
         p.y <= box.y + box.height + reach;
}

// Whether `end` lies beside the middle part of `other`. `direction`: of the line that ends, unit.
bool LiesAt(cv::Point2d end, cv::Point2d direction, const Region& other, const Reach& reach) {
  if (Apart(end, other.spine.front()) <= reach.middle ||
      Apart(end, other.spine.back()) <= reach.middle) {
    return false;
  }
  for (size_t i = 1; i < other.spine.size(); ++i) {
    const cv::Point2d run = other.spine[i] - other.spine[i - 1];
    const double length = std::hypot(run.x, run.y);
    if (length <= 0) continue;
    const double at = std::clamp((end - other.spine[i - 1]).dot(run) / (length * length), 0.0, 1.0);
    const bool is_along = std::abs(direction.dot(run)) >= kAlongCosine * length;
    if (Apart(end, other.spine[i - 1] + run * at) <= (is_along ? reach.along : reach.across)) {
      return true;
    }
  }
  return false;
}

// Whether a faint mark lies at the side of the middle part of a line.
bool LiesBeside(const Region& mark, const Region& line, const Reach& reach) {
  if (std::abs(mark.depth) >= kLeftoverDepth * std::abs(line.depth)) return false;
  return std::any_of(mark.cells.begin(), mark.cells.end(), [&](const cv::Point& cell) {
    return LiesAt(cell, {0, 0}, line, reach);
  });
}

}  // namespace

std::vector<bool> MayHideAnother(const ContrastMap& map, const std::vector<Region>& regions) {
  std::vector<bool> may(regions.size(), false);
  std::vector<std::size_t> lines;
  std::vector<cv::Rect2d> boxes;
  for (std::size_t i = 0; i < regions.size(); ++i) {
    if (!regions[i].is_line || regions[i].spine.empty()) continue;
    lines.push_back(i);
    boxes.push_back(BoxOf(regions[i].spine));
  }
  for (const std::size_t i : lines) {
    const Region& line = regions[i];
    const cv::Point2d run = line.spine.back() - line.spine.front();
    const cv::Point2d direction = run / std::max(1e-9, std::hypot(run.x, run.y));
    for (std::size_t k = 0; k < lines.size(); ++k) {
      const std::size_t j = lines[k];
      if (i == j) continue;
      const Region& other = regions[j];
      const double both =
          0.5 * (line.line_width_cells + other.line_width_cells) + map.blur_sigma_cells;
      const Reach reach{both + kBesideUm / map.um_per_cell,
                        both + kBesideAlongUm / map.um_per_cell,
                        both + (kBesideUm + kMiddleUm) / map.um_per_cell};
      for (const cv::Point2d& end : {line.spine.front(), line.spine.back()}) {
        if (IsNear(end, boxes[k], reach.along) && LiesAt(end, direction, other, reach)) {
          may[i] = may[j] = true;
        }
      }
    }
  }
  for (const Region& mark : regions) {
    if (mark.is_line || mark.cells.empty()) continue;
    const cv::Rect box = cv::boundingRect(mark.cells);
    if (std::max(box.width, box.height) * map.um_per_cell > kLeftoverUm) continue;
    const cv::Point2d middle = 0.5 * cv::Point2d(box.tl() + box.br());
    const double half = 0.5 * std::hypot(box.width, box.height);
    for (std::size_t k = 0; k < lines.size(); ++k) {
      const Region& line = regions[lines[k]];
      const double own = 0.5 * line.line_width_cells + map.blur_sigma_cells;
      const Reach reach{own + kBesideUm / map.um_per_cell,
                        own + kBesideAlongUm / map.um_per_cell,
                        own + (kBesideUm + kMiddleUm) / map.um_per_cell};
      if (!IsNear(middle, boxes[k], half + reach.across)) continue;
      if (LiesBeside(mark, line, reach)) may[lines[k]] = true;
    }
  }
  return may;
}

}  // namespace endgrade
