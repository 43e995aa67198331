// A free-form brightness by radius.
#pragma once

#include "flatten/cell_grid.h"
#include "flatten/polar_samples.h"

#include <algorithm>
#include <cmath>
#include <span>
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

// The median over all directions once what is uneven at each sample, luma units, is gone.
[[nodiscard]] inline RingTable MedianOfCircles(const PolarSamples& samples,
                                               const std::vector<double>& uneven) {
  RingTable table;
  table.from_um = samples.circles.from_um;
  table.step_um = samples.circles.step_um;
  std::vector<float> ring(static_cast<size_t>(samples.num_directions));
  for (int i = 0; i < samples.num_radii; ++i) {
    const size_t first = samples.IndexOf(i, 0);
    size_t seen = 0;
    for (size_t d = 0; d < ring.size(); ++d) {
      const float value = samples.values[first + d];
      ring[seen] = value - static_cast<float>(uneven[first + d]);
      seen += std::isnan(value) ? 0 : 1;
    }
    const bool enough = seen >= 16;
    const double before = table.values.empty() ? 0.0 : table.values.back();
    table.values.push_back(enough ? static_cast<double>(MedianOf(std::span(ring).first(seen)))
                                  : before);
  }
  return table;
}

// The same, where the light is known by place: `uneven(um)`.
template <typename UnevenLight>
[[nodiscard]] RingTable MedianByRadius(const PolarSamples& samples, const UnevenLight& uneven) {
  std::vector<double> values;
  values.reserve(samples.values.size());
  for (int i = 0; i < samples.num_radii; ++i) {
    for (int d = 0; d < samples.num_directions; ++d) {
      values.push_back(uneven(samples.PlaceUm(i, d)));
    }
  }
  return MedianOfCircles(samples, values);
}

}  // namespace endgrade
