#include "detect/scratch_by_shape.h"

#include "detect/line_profile.h"
#include "detect/line_shape.h"
#include "detect/lines_along.h"
#include "detect/sample.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

namespace endgrade {
namespace {

constexpr double kPastRimUm =
    4.0;                           // nearer, it may be a chip or the ring between glass and ferrule
constexpr double kLeastUm = 8.0;   // of the longest side: fading ends may lie outside the region
constexpr double kMostUm = 90.0;   // longer ones the search for lines sees
constexpr double kAcrossUm = 2.5;  // how far from the stroke its brightness is looked for,
constexpr double kAcrossInFamilyUm = 1.2;  // where the next one may be close
constexpr double kBeyondUm = 6.0;          // how far past the region's ends
constexpr double kGapUm = 2.0;             // the longest break in it
constexpr double kOn = 0.4;                // of its usual height
constexpr double kLeastOn = 0.75;          // share of its length
constexpr double kLeastInside = 0.8;       // share of what stands out that lies on it
constexpr double kMostSag = 0.12;  // of its length: rounder, it is a hair or a droplet's edge
constexpr int kRounds = 4;

// The stroke as offset(t) = bend[0] + bend[1] t + bend[2] t^2 to the left of a straight axis.
struct Stroke {
  cv::Point2d middle;
  cv::Point2d along;  // unit vector
  cv::Vec3d bend;

  [[nodiscard]] cv::Point2d At(double t, double off = 0.0) const {
    const double across = bend[0] + t * (bend[1] + t * bend[2]) + off;
    return middle + along * t + cv::Point2d(-along.y, along.x) * across;
  }
};

// A patch of the residual about the region, of its sign, smoothed as far as noise asks.
struct Patch {
  cv::Rect box;
  cv::Mat height;  // CV_32FC1, positive where the region is

  [[nodiscard]] double At(cv::Point2d cell) const {
    return std::max(0.0, SampleAt(height, cell - cv::Point2d(box.tl())));
  }
};

Patch PatchAround(const ContrastMap& map, const cv::Mat& residual, const Region& region) {
  const int margin = cvCeil((kBeyondUm + kAcrossUm) / map.um_per_cell) + 3;
  const cv::Rect box = cv::boundingRect(region.cells);
  Patch patch;
  patch.box =
      cv::Rect(box.x - margin, box.y - margin, box.width + 2 * margin, box.height + 2 * margin) &
      cv::Rect({0, 0}, residual.size());
  cv::GaussianBlur(
      residual(patch.box), patch.height, cv::Size(), std::max(0.8, map.blur_sigma_cells));
  if (region.depth < 0) patch.height = -patch.height;
  return patch;
}

Stroke AxisOf(const Patch& patch, const Region& region) {
  double sum = 1e-9;
  cv::Point2d first(0, 0);
  for (const cv::Point& cell : region.cells) {
    const double weight = patch.At(cell);
    sum += weight;
    first += weight * cv::Point2d(cell);
  }
  Stroke stroke;
  stroke.middle = first * (1.0 / sum);
  double xx = 0;
  double xy = 0;
  double yy = 0;
  for (const cv::Point& cell : region.cells) {
    const double weight = patch.At(cell);
    const cv::Point2d off = cv::Point2d(cell) - stroke.middle;
    xx += weight * off.x * off.x;
    xy += weight * off.x * off.y;
    yy += weight * off.y * off.y;
  }
  const double angle = 0.5 * std::atan2(2.0 * xy, xx - yy);
  stroke.along = {std::cos(angle), std::sin(angle)};
  return stroke;
}

// Bends the stroke to where the brightness is, between its ends.
bool FollowBrightness(const Patch& patch, double from, double to, double reach, Stroke* stroke) {
  cv::Matx33d normal = cv::Matx33d::zeros();
  cv::Vec3d right(0, 0, 0);
  for (double t = from; t <= to; t += 1.0) {
    double sum = 0;
    double moment = 0;
    for (double off = -reach; off <= reach; off += 0.5) {
      const double weight = std::pow(patch.At(stroke->At(t, off)), 2.0);
      sum += weight;
      moment += weight * off;
    }
    if (sum <= 0) continue;
    const cv::Vec3d row(1.0, t, t * t);
    const double weight = std::sqrt(sum);
    normal += weight * row * row.t();
    right += weight * (moment / sum) * row;
  }
  cv::Vec3d change;
  if (!cv::solve(normal, right, change, cv::DECOMP_CHOLESKY)) return false;
  stroke->bend += change;
  return true;
}

struct Extent {
  double from = 0;
  double to = 0;
  double on = 0;  // share of it that shows
};

// How far it shows, from its middle both ways, over breaks of `gap` cells.
std::optional<Extent> ExtentOf(
    const Patch& patch, const Stroke& stroke, double from, double to, double gap) {
  std::vector<double> heights;
  for (double t = from; t <= to; t += 1.0) heights.push_back(patch.At(stroke.At(t)));
  if (heights.size() < 5) return std::nullopt;
  std::vector<double> sorted = heights;
  std::sort(sorted.begin(), sorted.end());
  const double usual = sorted[sorted.size() * 7 / 10];
  const auto is_on = [&](size_t i) { return heights[i] > kOn * usual; };
  size_t middle = heights.size() / 2;
  while (middle + 1 < heights.size() && !is_on(middle)) ++middle;
  if (!is_on(middle)) return std::nullopt;
  size_t first = middle;
  size_t last = middle;
  for (size_t i = middle; i-- > 0 && static_cast<double>(first - i) <= gap;) {
    if (is_on(i)) first = i;
  }
  for (size_t i = middle; i < heights.size() && static_cast<double>(i - last) <= gap; ++i) {
    if (is_on(i)) last = i;
  }
  size_t count = 0;
  for (size_t i = first; i <= last; ++i) count += is_on(i) ? 1 : 0;
  return Extent{from + static_cast<double>(first),
                from + static_cast<double>(last),
                static_cast<double>(count) / static_cast<double>(last - first + 1)};
}

// The share of the region's own height that lies within `half` cells of the stroke.
double ShareOn(const Patch& patch, const Region& region, const Stroke& stroke, double half) {
  double sum = 1e-9;
  double on = 0;
  for (const cv::Point& cell : region.cells) {
    const double height = patch.At(cell);
    const cv::Point2d off = cv::Point2d(cell) - stroke.middle;
    const double t = off.dot(stroke.along);
    const cv::Point2d beside = cv::Point2d(cell) - stroke.At(t);
    sum += height;
    if (std::hypot(beside.x, beside.y) <= half) on += height;
  }
  return on / sum;
}

bool LiesOnFerrule(const ContrastMap& map, const Region& region) {
  const auto least = static_cast<float>(map.cladding_radius_um + kPastRimUm);
  return std::all_of(region.cells.begin(), region.cells.end(), [&](const cv::Point& cell) {
    return map.radius_um.at<float>(cell) > least;
  });
}

bool LiesOnGlass(const ContrastMap& map, const Region& region) {
  const auto most = static_cast<float>(map.cladding_radius_um);
  return std::all_of(region.cells.begin(), region.cells.end(), [&](const cv::Point& cell) {
    return map.radius_um.at<float>(cell) < most;
  });
}

}  // namespace

bool TellScratchByShape(const ContrastMap& map,
                        const cv::Mat& residual,
                        const std::vector<Region>& lines,
                        Region* region) {
  if (region->is_line || region->no_scratch || region->cells.empty()) return false;
  const cv::RotatedRect box = cv::minAreaRect(region->cells);
  const double longest = static_cast<double>(std::max(box.size.width, box.size.height));
  const double longest_um = longest * map.um_per_cell;
  if (longest_um < kLeastUm || longest_um > kMostUm) return false;
  const bool on_glass = LiesOnGlass(map, *region);
  if (!on_glass && !LiesOnFerrule(map, *region)) return false;

  const Patch patch = PatchAround(map, residual, *region);
  Stroke stroke = AxisOf(patch, *region);
  if (on_glass && LinesAlong(lines, stroke.along) < kFamily) return false;
  double from = -0.5 * longest;
  double to = 0.5 * longest;
  const double reach = (on_glass ? kAcrossInFamilyUm : kAcrossUm) / map.um_per_cell;
  Extent extent;
  for (int round = 0; round < kRounds; ++round) {
    if (!FollowBrightness(patch, from, to, reach, &stroke)) return false;
    const double beyond = kBeyondUm / map.um_per_cell;
    const auto shown =
        ExtentOf(patch, stroke, from - beyond, to + beyond, kGapUm / map.um_per_cell);
    if (!shown) return false;
    extent = *shown;
    from = extent.from;
    to = extent.to;
  }
  const double length = extent.to - extent.from;
  const double sag = std::abs(stroke.bend[2]) * 0.25 * length * length;
  if (extent.on < kLeastOn || sag > kMostSag * length) return false;

  std::vector<cv::Point2d> spine;
  for (double t = extent.from; t <= extent.to; t += 2.0) spine.push_back(stroke.At(t));
  const double blur = std::max(0.5, map.blur_sigma_cells);
  const LineProfile profile = MeasureProfile(residual, spine, blur, ReachAcross(map));
  if (profile.peak * region->depth <= 0) return false;
  if (!LooksLikeALine(length * map.um_per_cell, profile, map.um_per_cell)) return false;
  const double half = std::max(0.75, 0.5 * std::hypot(profile.bar_cells, blur));
  if (ShareOn(patch, *region, stroke, half + blur + 1.0) < kLeastInside) return false;

  Region line;
  line.is_line = true;
  line.snr = region->snr;
  line.depth = profile.peak;
  line.spine = std::move(spine);
  line.peak = line.spine[line.spine.size() / 2];
  line.line_width_cells = profile.width_cells;
  line.line_width_uncertainty_cells = profile.width_uncertainty_cells;
  for (int y = patch.box.y; y < patch.box.br().y; ++y) {
    for (int x = patch.box.x; x < patch.box.br().x; ++x) {
      const double t = (cv::Point2d(x, y) - stroke.middle).dot(stroke.along);
      if (t < extent.from - half || t > extent.to + half) continue;
      const cv::Point2d beside = cv::Point2d(x, y) - stroke.At(t);
      if (std::hypot(beside.x, beside.y) <= half) line.cells.emplace_back(x, y);
    }
  }
  *region = std::move(line);
  return true;
}

}  // namespace endgrade
