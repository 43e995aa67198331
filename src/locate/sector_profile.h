// The brightness across a rim, averaged over those sectors of it that show it.
#pragma once

#include "locate/level.h"
#include "locate/step_fit.h"

#include <vector>

namespace endgrade::locate {

// Mean of each column over the middle half of those rows whose weight is above 0; the median over
// all rows where none is.
[[nodiscard]] std::vector<double> CommonProfile(const cv::Mat& values,
                                                const std::vector<double>& weights);

// The same with distances in pixels of the level and the standard error of each value. Clipped
// values are marked by a large one.
[[nodiscard]] RimProfile ProfileOf(const PolarMap& map,
                                   const std::vector<double>& weights,
                                   double radius);

}  // namespace endgrade::locate
