#include "detect/narrow_rim.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kStep = 0.5;      // cells, between rings
constexpr double kReach = 0.75;    // cells: a ring's weight falls to nothing this far off
constexpr double kInner = -2.0;    // cells: blur may bring the rim inside the seen border
constexpr size_t kRings = 14;      // up to 5 cells out
constexpr double kRimSigma = 5.0;  // of the mean of a ring
constexpr double kAlike = 0.5;     // share of a ring's cells that tell something new: JPEG, blur
constexpr double kLeastWeight = 4.0;

struct Ring {
  double sum = 0;
  double weight = 0;
  [[nodiscard]] bool seen() const { return weight >= kLeastWeight; }
  [[nodiscard]] double mean() const { return sum / std::max(weight, 1e-9); }
};

double DistanceOf(size_t ring) { return kInner + static_cast<double>(ring) * kStep; }

std::array<Ring, kRings> MeanByDistance(const NarrowRimInputs& in) {
  std::array<Ring, kRings> rings{};
  constexpr double kNearest = kInner - kReach;
  constexpr double kFarthest = kInner + static_cast<double>(kRings - 1) * kStep + kReach;
  static_assert(-kNearest <= kNarrowRimReach && kFarthest <= kNarrowRimReach);
  for (int y = 0; y < in.height.rows; ++y) {
    const auto* looked_at = in.looked_at.empty() ? nullptr : in.looked_at.ptr<uchar>(y);
    const auto* distances = in.distance.ptr<float>(y);
    const auto* heights = in.height.ptr<float>(y);
    for (int x = 0; x < in.height.cols; ++x) {
      const double distance = distances[x];
      if (distance <= kNearest || distance >= kFarthest) continue;  // no ring's
      if (looked_at != nullptr && looked_at[x] == 0) continue;
      const double height = heights[x];
      // The few rings that are near enough.
      const double first = std::max(0.0, std::ceil((distance - kReach - kInner) / kStep));
      for (auto i = static_cast<size_t>(first); i < kRings; ++i) {
        if (DistanceOf(i) >= distance + kReach) break;
        const double weight = 1.0 - std::abs(distance - DistanceOf(i)) / kReach;
        if (weight <= 0) continue;
        rings[i].sum += weight * height;
        rings[i].weight += weight;
      }
    }
  }
  return rings;
}

double TopOf(const NarrowRimInputs& in) {
  double top = 0;
  cv::minMaxLoc(in.height, nullptr, &top, nullptr, nullptr, in.distance < 0);
  return top;
}

}  // namespace

std::optional<double> FindNarrowRim(const NarrowRimInputs& in) {
  const std::array<Ring, kRings> rings = MeanByDistance(in);
  std::optional<size_t> crest;
  for (size_t i = 0; i < kRings && DistanceOf(i) <= 1.0 + 1.5 * in.blur_cells; ++i) {
    if (rings[i].seen() && (!crest || rings[i].mean() < rings[*crest].mean())) crest = i;
  }
  if (!crest) return std::nullopt;
  const double depth = -rings[*crest].mean();
  const double told = kAlike * rings[*crest].weight;
  if (depth < kRimSigma * in.noise / std::sqrt(told)) return std::nullopt;
  if (depth < in.least_share * TopOf(in)) return std::nullopt;
  for (size_t i = *crest + 1; i < kRings && rings[i].seen(); ++i) {
    const double here = -rings[i].mean();
    if (here > 0.5 * depth) continue;
    const double before = -rings[i - 1].mean();
    const double part = (before - 0.5 * depth) / std::max(1e-6, before - here);
    return DistanceOf(i - 1) + part * kStep;
  }
  return std::nullopt;  // no end: something larger
}

}  // namespace endgrade
