// The report's charts as inline SVG. Colours are Okabe and Ito's; every chart has its words.
#pragma once

#include "statistics/control_chart.h"
#include "statistics/interval.h"
#include "summary/lot_summary.h"

#include <string>
#include <vector>

namespace endgrade::report {

// "12.5 %".
[[nodiscard]] std::string Percent(double share);

[[nodiscard]] std::string YieldBar(const summary::Yield& yield);

// `most`: the largest count of the table, which fills the bar.
[[nodiscard]] std::string CountBar(int count, int most);

// The face from above, cells shaded by their count, zones' borders as rings.
//
//   ring_diameters_um   of the limits
[[nodiscard]] std::string MapChart(const summary::DensityMap& map,
                                   const std::vector<double>& ring_diameters_um);

[[nodiscard]] std::string TrendChart(const statistics::ControlChart& chart);

}  // namespace endgrade::report
