// A free-form brightness by radius.
#pragma once

#include "flatten/cell_grid.h"
#include "flatten/polar_samples.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {

struct RingTable {
  double from_um = 0;
  double step_um = 1;
  std::vector<double> values;  // luma units

  [[nodiscard]] double At(double radius_um) const {
    if (values.empty()) return 0.0;
    const double position =
        std::clamp((radius_um - from_um) / step_um, 0.0, static_cast<double>(values.size() - 1));
    const auto low = static_cast<size_t>(position);
    const size_t high = std::min(low + 1, values.size() - 1);
    const double part = position - static_cast<double>(low);
    return values[low] + part * (values[high] - values[low]);
  }
};

// The median over all directions once `uneven(radius, direction)`, luma units, of each sample is
// gone.
template <typename UnevenSample>
[[nodiscard]] RingTable MedianOfCircles(const PolarSamples& samples, const UnevenSample& uneven) {
  RingTable table;
  table.from_um = samples.circles.from_um;
  table.step_um = samples.circles.step_um;
  std::vector<float> ring;
  for (int i = 0; i < samples.num_radii; ++i) {
    ring.clear();
    for (int d = 0; d < samples.num_directions; ++d) {
      const float value = samples.At(i, d);
      if (std::isnan(value)) continue;
      ring.push_back(value - static_cast<float>(uneven(i, d)));
    }
    const bool enough = ring.size() >= 16;
    const double before = table.values.empty() ? 0.0 : table.values.back();
    table.values.push_back(enough ? static_cast<double>(MedianOf(ring)) : before);
  }
  return table;
}

// The same, where the light is known by place: `uneven(um)`.
template <typename UnevenLight>
[[nodiscard]] RingTable MedianByRadius(const PolarSamples& samples, const UnevenLight& uneven) {
  return MedianOfCircles(samples, [&](int radius, int direction) {
    return uneven(samples.PlaceUm(radius, direction));
  });
}

}  // namespace endgrade
