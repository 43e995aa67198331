// Do directions gather on one side? Rayleigh's test of uniformity on the circle.
#pragma once

#include <vector>

namespace endgrade::statistics {

struct DirectionTest {
  double mean_deg = 0;          // of the resultant, [0, 360)
  double resultant_length = 0;  // 0: all over; 1: all in one direction
  double p_value = 1;           // chance of a resultant this long from even directions
};

// p by the approximation of Zar, Biostatistical Analysis, equation 27.4 (4th edition):
// exp(sqrt(1 + 4n + 4(n^2 - R^2)) - (1 + 2n)), R = n * resultant_length.
[[nodiscard]] DirectionTest TestDirections(const std::vector<double>& angles_deg);

}  // namespace endgrade::statistics
