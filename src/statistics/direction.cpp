#include "statistics/direction.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::statistics {

DirectionTest TestDirections(const std::vector<double>& angles_deg) {
  DirectionTest test;
  if (angles_deg.empty()) return test;
  constexpr double kRadians = std::numbers::pi / 180.0;
  double x = 0;
  double y = 0;
  for (const double angle : angles_deg) {
    x += std::cos(angle * kRadians);
    y += std::sin(angle * kRadians);
  }
  const auto n = static_cast<double>(angles_deg.size());
  const double resultant = std::hypot(x, y);
  test.resultant_length = resultant / n;
  test.mean_deg = std::fmod(std::atan2(y, x) / kRadians + 360.0, 360.0);
  test.p_value = std::min(
      1.0, std::exp(std::sqrt(1 + 4 * n + 4 * (n * n - resultant * resultant)) - 1 - 2 * n));
  return test;
}

}  // namespace endgrade::statistics
