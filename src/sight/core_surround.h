// What the glass looks like right around a single-mode core: a core ends with a step, its light
// fades within a few micrometres. What is darker or brighter all around, further out, lies on it.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

namespace endgrade {

struct CoreSurround {
  double darkest = 0;    // of the rings around the core, less the glass, over the glass
  double brightest = 0;  // the same of the brightest
  double middle = 0;     // the same of the core's own middle
};

// Medians of rings from where a core has ended, blur and all, to 20 um from its middle; what is
// `held` (HeldCells) is left out. The core's own middle where one was seen, else the cladding's.
[[nodiscard]] CoreSurround LookAroundCore(const ContrastMap& map, const cv::Mat& held);

}  // namespace endgrade
