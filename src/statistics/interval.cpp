#include "statistics/interval.h"

#include <algorithm>
#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cassert>
#include <cmath>

namespace endgrade::statistics {

Interval WilsonInterval(int count, int trials, double confidence) {
  assert(0 <= count && count <= trials && confidence > 0 && confidence < 1);
  if (trials == 0) return {};
  const double z = boost::math::quantile(boost::math::normal(), 0.5 + confidence / 2);
  const double n = trials;
  const double p = count / n;
  const double middle = p + z * z / (2 * n);
  const double half = z * std::sqrt(p * (1 - p) / n + z * z / (4 * n * n));
  const double scale = 1 + z * z / n;
  // The ends are 0 and 1 exactly there; rounding would leave a trace.
  return {count == 0 ? 0.0 : std::max(0.0, (middle - half) / scale),
          count == trials ? 1.0 : std::min(1.0, (middle + half) / scale)};
}

Interval ClopperPearsonInterval(int count, int trials, double confidence) {
  assert(0 <= count && count <= trials && confidence > 0 && confidence < 1);
  const double tail = (1 - confidence) / 2;
  Interval interval;
  if (count > 0) {
    interval.low =
        boost::math::quantile(boost::math::beta_distribution<>(count, trials - count + 1.0), tail);
  }
  if (count < trials) {
    interval.high = boost::math::quantile(
        boost::math::beta_distribution<>(count + 1.0, trials - count), 1 - tail);
  }
  return interval;
}

}  // namespace endgrade::statistics
