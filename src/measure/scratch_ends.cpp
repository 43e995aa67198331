#include "measure/scratch_ends.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kBesideUm = 1.5;  // beyond both half widths and the blur
// Where two run at less than 20 degrees, the weaker is lost sooner, in the stronger one's band.
constexpr double kBesideAlongUm = 5.0;
constexpr double kAlongCosine = 0.94;
constexpr double kMiddleUm = 4.0;  // what lies nearer to the other's own end meets it there

double Apart(cv::Point2d a, cv::Point2d b) { return std::hypot(a.x - b.x, a.y - b.y); }

// How near a line's end must come to another, in cells.
struct Reach {
  double across = 0, along = 0, middle = 0;
};

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

}  // namespace

std::vector<bool> MayHideAnother(const ContrastMap& map, const std::vector<Region>& regions) {
  std::vector<bool> may(regions.size(), false);
  for (size_t i = 0; i < regions.size(); ++i) {
    const Region& line = regions[i];
    if (!line.is_line || line.spine.empty()) continue;
    for (size_t j = 0; j < regions.size(); ++j) {
      const Region& other = regions[j];
      if (i == j || !other.is_line || other.spine.empty()) continue;
      const double both =
          0.5 * (line.line_width_cells + other.line_width_cells) + map.blur_sigma_cells;
      const Reach reach{both + kBesideUm / map.um_per_cell,
                        both + kBesideAlongUm / map.um_per_cell,
                        both + (kBesideUm + kMiddleUm) / map.um_per_cell};
      const cv::Point2d run = line.spine.back() - line.spine.front();
      const cv::Point2d direction = run / std::max(1e-9, std::hypot(run.x, run.y));
      if (LiesAt(line.spine.front(), direction, other, reach) ||
          LiesAt(line.spine.back(), direction, other, reach)) {
        may[i] = may[j] = true;
      }
    }
  }
  return may;
}

}  // namespace endgrade
