#include "detect/faint.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

// Nobody sees less; what stands out of little noise by less is a camera's halo or its rounding.
constexpr double kLeastContrast = 0.012;  // of the light that is there, or the glass's if less
// What is both fainter than an inspector sees and hardly above the threshold is the camera's where
// noise cannot be what the threshold stands above: blocks of its compression in a smooth picture,
// or what the fitted core leaves. Where a picture is noisy the threshold is trusted, but for
// wide ones: noise is wider there than a grain, too.
constexpr double kFaintContrast = 0.04;
constexpr double kFaintSnr = 8.0;
constexpr double kFaintSnrInNoise = 7.0;
constexpr double kSmoothNoise = 0.006;  // of the glass, one cell
// The errors of compression have longer tails than noise. They are no larger than a block's cells.
constexpr double kSmoothNoiseSmall = 0.013;
constexpr double kSmallUm = 5.0;
// On the ferrule a wide one may be its grain, which is no noise but has a shape.
constexpr double kFaintOnFerrule = 0.09;  // of its own brightness
constexpr double kPastRimUm = 4.0;
constexpr double kCoreReachUm = 12.5;  // of a single-mode core's light

constexpr double kFaintLineSnrOnFerrule = 11.0;

constexpr double kLeastLineContrast = 0.020;  // of the glass: fainter lines are the camera's

double LightAt(const ContrastMap& map, double radius_um) {
  return map.ring_level[map.RingOf(static_cast<float>(radius_um))];
}

bool IsFaintOnFerrule(const ContrastMap& map, double radius_um, double depth) {
  return radius_um > map.cladding_radius_um + kPastRimUm &&
         std::abs(depth) < kFaintOnFerrule * LightAt(map, radius_um);
}

}  // namespace

double LeastBelievedSnr(
    const ContrastMap& map, double radius_um, double size_um, double depth, double threshold) {
  const double light = std::min(map.glass_level, LightAt(map, radius_um));
  if (std::abs(depth) < std::max(map.least_depth, kLeastContrast * light))
    return std::numeric_limits<double>::infinity();
  const bool grain = size_um >= kSmallUm && IsFaintOnFerrule(map, radius_um, depth);
  if (std::abs(depth) >= kFaintContrast * light) {
    return grain ? std::max(threshold, kFaintSnrInNoise) : threshold;
  }
  const double smooth = size_um < kSmallUm ? kSmoothNoiseSmall : kSmoothNoise;
  const bool watched = radius_um < kCoreReachUm || map.glass_noise < smooth * map.glass_level;
  if (watched) return std::max(threshold, kFaintSnr);
  return size_um < kSmallUm ? threshold : std::max(threshold, kFaintSnrInNoise);
}

double LeastBelievedLineSnr(const ContrastMap& map, double radius_um, double depth) {
  return IsFaintOnFerrule(map, radius_um, depth) ? kFaintLineSnrOnFerrule : 0.0;
}

double LeastLineDepth(const ContrastMap& map) {
  return std::max(kLeastLineContrast * map.glass_level, map.least_depth);
}

}  // namespace endgrade
