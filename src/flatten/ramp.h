#pragma once

#include <algorithm>

namespace endgrade {

// 0 below `from`, 1 above `to`, straight between.
inline double Ramp(double value, double from, double to) {
  // Not std::clamp, of which compilers make branches.
  return std::min(1.0, std::max(0.0, (value - from) / std::max(to - from, 1e-9)));
}

}  // namespace endgrade
