#include "locate/core_fit.h"

#include "locate/ring_fit.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kFrom = 0.04;  // of the cladding's radius
constexpr double kTo = 0.60;
constexpr int kRays = 72;
constexpr double kLeastClear = 6.0;

struct Crossing {
  double radius = 0;  // of the cladding's
  int polarity = 1;
  double clarity = 0;
};

// The radius at which the slope along the rays is most surely the same all around.
Crossing ClearestCrossing(const Level& level, const RimFrame& cladding) {
  const double radius = cladding.Radius();
  PolarGrid grid;
  grid.rays = kRays;
  grid.averaged = 2;
  grid.from = 0.0;
  grid.to = kTo + 0.1;
  grid.columns = std::max(40, static_cast<int>(grid.to * radius / 0.7));
  const PolarMap map = SampleRays(level, cladding, grid);
  const double smoothing = std::max(1.2, 0.012 / map.step);
  const cv::Mat slope = SlopeAlongRays(map.values, smoothing);
  const double noise = std::max(0.02, RobustSpread(slope));
  Crossing best;
  std::vector<float> sample;
  for (int column = 0; column < slope.cols; ++column) {
    const double at = map.RadiusAt(column);
    if (at < kFrom || at > kTo) continue;
    sample.clear();
    for (int ray = 0; ray < kRays; ++ray) {
      const float value = slope.at<float>(ray, column);
      if (std::isfinite(value)) sample.push_back(value);
    }
    if (sample.size() < 48) continue;
    const double median = static_cast<double>(Median(sample));
    // Rays close to the centre share their pixels.
    const double free_rays = std::min<double>(kRays, 2.0 * CV_PI * at * radius / 1.5);
    const double clarity = std::abs(median) / noise * std::sqrt(free_rays);
    if (clarity > best.clarity) best = {at, median > 0 ? 1 : -1, clarity};
  }
  return best;
}

}  // namespace

std::optional<RimFrame> FindCore(const Level& level, const RimFrame& cladding) {
  const RimFrame frame = level.FrameOf(cladding);
  const Crossing crossing = ClearestCrossing(level, frame);
  if (crossing.clarity < kLeastClear) return std::nullopt;
  const double radius_px = crossing.radius * frame.Radius();
  if (radius_px < 4.5) return std::nullopt;
  const CircleGuess guess{cladding.Sized(crossing.radius), crossing.polarity, 1.0};
  const double reach = std::clamp(0.03 / crossing.radius, 0.12, 0.4);
  const auto ring = FitRing(level, guess, reach, Care::kThorough);
  if (!ring || ring->seen < 0.5) return std::nullopt;
  const double off = std::hypot(ring->frame.centre.x - cladding.centre.x,
                                ring->frame.centre.y - cladding.centre.y);
  // 1.5 um of 62.5 (IEC 60793-2-10), and as much again for the fit.
  if (off > 0.048 * cladding.Radius()) return std::nullopt;
  return ring->frame;
}

}  // namespace endgrade::locate
