// The flattened picture over its noise, with everything that was found taken out.
#pragma once

#include "endgrade/compare.h"

#include <opencv2/core.hpp>

namespace endgrade::compare {

// CV_32FC1 of the contrast map's size: residual over the noise of its ring, cut off at +/- 4, and 0
// on features, beside them, and where nothing is seen.
[[nodiscard]] cv::Mat CleanResidual(const Attempt& attempt);

// CV_8UC1 of the contrast map's size: 255 on every feature and up to `beside_um` from it.
[[nodiscard]] cv::Mat FoundMask(const Attempt& attempt, double beside_um);

}  // namespace endgrade::compare
