#include "flatten/glow.h"

#include "flatten/cell_grid.h"
#include "flatten/ring_table.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kLitLeast = 1.2;    // the core's brightness over the glass's
constexpr double kMostShare = 0.25;  // of the core's height over the glass: more is no glow
constexpr double kReachUm = 48.0;
constexpr double kStepUm = 1.0;
constexpr int kDirections = 128;

// What the rings are brighter by than the glass, held to fall as a glow does.
RingTable Falling(RingTable rings, double most) {
  double held = most;
  for (size_t i = 0; i < rings.values.size(); ++i) {
    const double radius = rings.from_um + rings.step_um * static_cast<double>(i);
    if (i > 0) held *= (radius - rings.step_um) / radius;
    held = std::clamp(rings.values[i], 0.0, held);
    rings.values[i] = held;
  }
  return rings;
}

}  // namespace

void AddGlow(const ContrastMap& map,
             const Scale& scale,
             const FaceRings& rings,
             const Light& glass,
             cv::Mat* clean) {
  if (rings.core_radius_um <= 0 || rings.core_radius_um > kLargestSingleModeUm) return;
  const double from = std::max(2.0, rings.core_to_um - 1.0);
  const double to = std::min(kReachUm, rings.rim_from_um - 4.0);
  if (to < from + 4.0) return;
  const auto light = [&](cv::Point2d um) { return glass.At(um); };
  const PolarSamples about_core =
      ReadCircles(map, scale, rings.core_centre_um, {0.0, 1.0, 0.5, 64});
  const double height = MedianByRadius(about_core, light).At(0.0);
  const double level = glass.At(rings.core_centre_um);
  if (height < (kLitLeast - 1.0) * level) return;
  const RingTable glow = Falling(
      MedianByRadius(
          ReadCircles(map, scale, rings.core_centre_um, {from, to, kStepUm, kDirections}), light),
      kMostShare * height);
  const cv::Rect box = CellsWithin(map, to);
  for (int y = box.y; y < box.br().y; ++y) {
    auto* row = clean->ptr<float>(y);
    for (int x = box.x; x < box.br().x; ++x) {
      if (static_cast<double>(map.radius_um.at<float>(y, x)) > to) continue;
      const cv::Point2d um = scale.ToUm(map.PxFromCell(cv::Point2d(x, y))) - rings.core_centre_um;
      const double radius = std::sqrt(um.dot(um));
      // To nothing at the end of its reach, without a step.
      const double end = std::clamp((to - radius) / 4.0, 0.0, 1.0);
      row[x] += static_cast<float>(end * glow.At(radius));
    }
  }
}

}  // namespace endgrade
