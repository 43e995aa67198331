#include "measure/band.h"

#include "detect/line_profile.h"
#include "measure/parabola.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace endgrade {
namespace {

constexpr double kSpineStep = 2.0;    // cells, along the middle line
constexpr double kMostMisfit = 0.45;  // rms over height: no bar, as in detect/line_shape

// A unit vector along the longer side of the least rectangle around the points.
cv::Point2d LongDirection(const std::vector<cv::Point2f>& points) {
  std::array<cv::Point2f, 4> corners;
  cv::minAreaRect(points).points(corners.data());
  const cv::Point2d a = corners[1] - corners[0];
  const cv::Point2d b = corners[2] - corners[1];
  const cv::Point2d longer = a.dot(a) > b.dot(b) ? a : b;
  return longer * (1.0 / std::max(1e-9, std::hypot(longer.x, longer.y)));
}

}  // namespace

std::vector<cv::Point2d> MiddleLineOf(const std::vector<cv::Point2f>& edge_cells) {
  if (edge_cells.empty()) return {};
  const std::vector<cv::Point2d> points(edge_cells.begin(), edge_cells.end());
  const cv::Point2d along = LongDirection(edge_cells);
  double from = 0;
  double to = 0;
  for (const cv::Point2d& p : points) {
    const double t = (p - points.front()).dot(along);
    from = std::min(from, t);
    to = std::max(to, t);
  }
  const auto parabola = FitParabola(points, along, to - from);
  if (!parabola) return {};
  std::vector<cv::Point2d> middle;
  for (double t = from; t <= to; t += kSpineStep) middle.push_back(parabola->At(t));
  return middle;
}

std::optional<Band> MeasureBand(const ContrastMap& map, const Region& region) {
  std::vector<cv::Point2d> middle = MiddleLineOf(region.edge);
  // Its ends taper, or are round.
  const size_t end = middle.size() / 10;
  if (middle.size() < 2 * end + 3) return std::nullopt;
  middle.erase(middle.end() - static_cast<std::ptrdiff_t>(end), middle.end());
  middle.erase(middle.begin(), middle.begin() + static_cast<std::ptrdiff_t>(end));
  const LineProfile profile =
      MeasureProfile(map.residual, middle, BlurOfLines(map), ReachAcross(map));
  if (profile.peak * region.depth <= 0 || profile.misfit > kMostMisfit) return std::nullopt;
  return Band{std::move(middle), profile.width_cells, profile.width_uncertainty_cells};
}

}  // namespace endgrade
