#include "detect/line_shape.h"

#include "detect/line_trace.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kLeastLengthUm = 12.0;  // shorter ones may be the rims of particles
constexpr double kLeastAspect = 5.0;     // length over width; our choice, see DEVELOPERS.md
// A wide one must be far longer before it is a scratch rather than a hair, a smear or a piece of a
// droplet's edge: in the outer zones scratches are free and those are not.
constexpr double kSlenderUm = 3.0;
// Nor may it be as wide as half its length for all that is known: a profile through a round thing
// fits a line of any width.
constexpr double kLeastAspectOfWidest = 2.0;
constexpr double kLeastAspectWide = 10.0;
constexpr double kMostStepShare = 0.6;  // side-to-side step over the line's own height: an edge
constexpr double kMostMisfit = 0.45;

constexpr double kShortUm = 30.0;
constexpr double kLeastSpotUm = 2.5;
constexpr double kMostOfWhatShows = 0.85;
constexpr double kSpotShare = 0.5;  // of the length, that holds it

// How far the residual across the line stands out of its noise, mean; no more than the line itself.
double ShownAt(const ContrastMap& map,
               const cv::Mat& residual,
               cv::Point2d at,
               cv::Point2d across,
               double half,
               double most) {
  constexpr double kMeanOfNoise = 0.8;  // of its sigma: of the size of what is Gaussian
  double sum = 0;
  int count = 0;
  for (double off = -half; off <= half; off += 1.0) {
    const cv::Point2d p = at + across * off;
    sum += std::min(std::abs(SampleAt(residual, p)), most);
    ++count;
  }
  const int x = std::clamp(cvRound(at.x), 0, map.radius_um.cols - 1);
  const int y = std::clamp(cvRound(at.y), 0, map.radius_um.rows - 1);
  const double noise = map.ring_noise[map.RingOf(map.radius_um.at<float>(y, x))];
  return std::max(0.0, sum / std::max(1, count) - kMeanOfNoise * noise);
}

}  // namespace

bool LooksLikeALine(double length_um, const LineProfile& profile, double um_per_cell) {
  const double width_um = profile.width_cells * um_per_cell;
  const double height = std::abs(profile.peak);
  // A bright and a dark side count each: refused as a whole, such a one would be found by one of
  // its sides alone, at half its width.
  const bool two_sided = profile.amplitude * profile.right_amplitude < 0;
  const double side_um = two_sided ? 0.5 * width_um : width_um;
  // Nor need it be as long; but five times its width it is, or it is a pit, which has two sides
  // too.
  const double aspect = side_um > kSlenderUm && !two_sided ? kLeastAspectWide : kLeastAspect;
  const double widest_um = width_um + profile.width_uncertainty_cells * um_per_cell;
  const bool long_enough =
      length_um >= std::max({kLeastLengthUm, aspect * width_um, kLeastAspectOfWidest * widest_um});
  const bool an_edge = std::abs(profile.side_step) > kMostStepShare * height;
  return long_enough && side_um <= 0.5 * kWidestScratchUm && !an_edge &&
         profile.misfit <= kMostMisfit;
}

bool IsOneSpot(const ContrastMap& map,
               const cv::Mat& residual,
               const std::vector<cv::Point2d>& spine,
               const LineProfile& profile) {
  // One side's rim and its middle fit two sides of a wide line. Lines through plain specks are
  // given up when the specks are found.
  const bool two_sided = profile.amplitude * profile.right_amplitude < 0;
  if (!two_sided || profile.width_cells * map.um_per_cell < kLeastSpotUm) return false;
  const std::vector<cv::Point2d> points = Resample(spine, 1.0);
  if (points.size() < 3) return false;
  const auto length = static_cast<double>(points.size());
  if (length * map.um_per_cell > kShortUm) return false;
  const double half = 0.5 * profile.bar_cells + std::max(0.5, map.blur_sigma_cells);
  std::vector<double> up_to = {0.0};  // sum of what shows before each point
  for (size_t i = 0; i < points.size(); ++i) {
    const cv::Point2d along =
        points[std::min(i + 1, points.size() - 1)] - points[i > 0 ? i - 1 : 0];
    const double run = std::max(1e-9, std::hypot(along.x, along.y));
    const cv::Point2d across(-along.y / run, along.x / run);
    up_to.push_back(up_to.back() +
                    ShownAt(map, residual, points[i], across, half, std::abs(profile.peak)));
  }
  const double enough = kMostOfWhatShows * up_to.back();
  if (enough <= 0) return false;
  size_t shortest = points.size();
  for (size_t from = 0, to = 0; from < points.size(); ++from) {
    while (to < points.size() && up_to[to] - up_to[from] < enough) ++to;
    if (up_to[to] - up_to[from] < enough) break;
    shortest = std::min(shortest, to - from);
  }
  return static_cast<double>(shortest) < kSpotShare * length;
}

}  // namespace endgrade
