#include "statistics/control_chart.h"

#include <algorithm>
#include <cmath>

namespace endgrade::statistics {
namespace {

constexpr std::size_t kEnoughSubgroups = 20;

}  // namespace

ControlChart ChartOfShares(const std::vector<Subgroup>& subgroups) {
  ControlChart chart;
  double count = 0;
  double trials = 0;
  for (const Subgroup& group : subgroups) {
    count += group.count;
    trials += group.trials;
  }
  if (trials == 0) return chart;
  chart.mean = count / trials;
  for (const Subgroup& group : subgroups) {
    if (group.trials == 0) continue;
    const double reach = 3 * std::sqrt(chart.mean * (1 - chart.mean) / group.trials);
    ControlPoint point;
    point.name = group.name;
    point.trials = group.trials;
    point.share = static_cast<double>(group.count) / group.trials;
    point.low = std::max(0.0, chart.mean - reach);
    point.high = std::min(1.0, chart.mean + reach);
    point.outside = point.share < point.low || point.share > point.high;
    chart.points.push_back(std::move(point));
  }
  chart.few = chart.points.size() < kEnoughSubgroups;
  return chart;
}

}  // namespace endgrade::statistics
