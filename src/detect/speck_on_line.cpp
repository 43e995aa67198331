#include "detect/speck_on_line.h"

#include "detect/direction.h"
#include "detect/line_trace.h"
#include "detect/median.h"
#include "detect/sample.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr double kLeastSnr = 10.0;  // fainter ones say little about a width
constexpr double kWider = 1.22;     // than the line, as area over height,
constexpr double kMore = 1.7;       // and more of it there than elsewhere, as area
constexpr double kLeastWiderUm = 0.5;
constexpr double kBesideUm = 2.5;  // how far beyond the line's own width its profile is read
constexpr double kStepCells = 0.5;
// What stands out this much, this far beyond the line's own half width and blur, lies beside it.
constexpr double kBesideLeast = 0.25;  // of the line's depth
constexpr double kBesideLineUm = 0.4;
constexpr std::size_t kLeastPlaces = 8;  // along a line, or its usual width is not known

constexpr std::size_t kFromEnd = 3;

// Along the picture's rows or columns it may be a reticle's: the marks on that are no dirt.
constexpr double kLeastTurn = 0.02;  // rise over run

bool LiesLikeAReticle(const std::vector<cv::Point2d>& spine) {
  const cv::Point2d run = spine.back() - spine.front();
  const double longer = std::max(std::abs(run.x), std::abs(run.y));
  return std::min(std::abs(run.x), std::abs(run.y)) < kLeastTurn * longer;
}

// Across a line at one place: its area and its height above what is on both sides of it.
struct Across {
  double area = 0;    // luma units x cells
  double height = 0;  // luma units
};

Across MeasureAcross(
    const ContrastMap& map, cv::Point2d at, cv::Point2d along, double half, double sign) {
  const cv::Point2d normal(-along.y, along.x);
  const int reach = static_cast<int>(std::ceil(half / kStepCells));
  std::vector<double> values;
  for (int i = -reach; i <= reach; ++i) {
    double sum = 0;  // over three cells along
    for (const double ahead : {-1.0, 0.0, 1.0}) {
      sum += SampleAt(map.residual, at + normal * (i * kStepCells) + along * ahead);
    }
    values.push_back(sign * sum / 3.0);
  }
  const auto outer = std::max<std::size_t>(1, values.size() / 8);
  double base = 0;
  for (std::size_t i = 0; i < outer; ++i) base += values[i] + values[values.size() - 1 - i];
  base /= 2.0 * static_cast<double>(outer);
  Across across;
  for (const double value : values) {
    across.area += kStepCells * (value - base);
    across.height = std::max(across.height, value - base);
  }
  return across;
}

}  // namespace

bool IsSpeckOnLine(const ContrastMap& map, const Region& region, const Region& line) {
  if (region.depth * line.depth <= 0 || region.snr < kLeastSnr) return false;
  const std::vector<cv::Point2d> spine = Resample(line.spine, 1.0);
  if (spine.size() < kLeastPlaces || LiesLikeAReticle(spine)) return false;
  const double half =
      0.5 * line.line_width_cells + 2.0 * map.blur_sigma_cells + kBesideUm / map.um_per_cell;
  const double sign = line.depth < 0 ? -1.0 : 1.0;
  const auto across_at = [&](std::size_t i) {
    const std::size_t before = i < 3 ? 0 : i - 3;
    const std::size_t after = std::min(spine.size() - 1, i + 3);
    return MeasureAcross(map, spine[i], Unit(spine[after] - spine[before]), half, sign);
  };
  std::vector<double> areas;
  std::vector<double> widths;
  std::size_t nearest = 0;
  double least = 1e300;
  for (std::size_t i = 0; i < spine.size(); ++i) {
    const cv::Point2d off = spine[i] - region.peak;
    if (off.dot(off) < least) {
      least = off.dot(off);
      nearest = i;
    }
    const Across across = across_at(i);
    if (across.height <= 0) continue;
    areas.push_back(across.area);
    widths.push_back(across.area / across.height);
  }
  // At its ends a line is not what it is elsewhere.
  if (nearest < kFromEnd || nearest + kFromEnd >= spine.size()) return false;
  const double own = 0.5 * line.line_width_cells + map.blur_sigma_cells;
  if (std::sqrt(least) > own + kBesideLineUm / map.um_per_cell &&
      std::abs(region.depth) > kBesideLeast * std::abs(line.depth)) {
    return true;
  }
  if (widths.size() < kLeastPlaces) return false;
  const Across here = across_at(nearest);
  if (here.height <= 0) return false;
  const double width = here.area / here.height;
  const double usual = MedianIn(widths);
  return width > kWider * usual && (width - usual) * map.um_per_cell > kLeastWiderUm &&
         here.area > kMore * MedianIn(areas);
}

}  // namespace endgrade
