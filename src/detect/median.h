// The middle of some values.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace endgrade {

// Of at least one.
[[nodiscard]] inline double MedianIn(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace endgrade
