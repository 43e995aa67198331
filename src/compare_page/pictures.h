// The comparison as two pictures.
#pragma once

#include "compare_page/comparison_result.h"

#include <opencv2/core.hpp>

#include <optional>

namespace endgrade::compare_page {

// All photographs at one scale and orientation, three a row, each with its verdict, things marked
// with their numbers and fates, and a strip with counts, legend, registration and advice.
[[nodiscard]] cv::Mat DrawSideBySide(const Compared& compared);

// Contrast of the last photograph less that of the first, both flattened and equally soft: blue
// where it is darker now, orange-red where it is brighter. Nothing where it is not known how the
// two lie on each other.
[[nodiscard]] std::optional<cv::Mat> DrawDifference(const Compared& compared);

}  // namespace endgrade::compare_page
