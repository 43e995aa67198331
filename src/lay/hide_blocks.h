#pragma once

#include "endgrade/lay.h"

#include <opencv2/core.hpp>

namespace endgrade {

// Takes what is hidden out of the zones, besides what already is: labels become kOutside, the
// shares in view less.
//   hidden   CV_8UC1, 255 within, in blocks of ZoneMap::kHiddenStep pixels of the whole picture
void HideBlocks(const cv::Mat& hidden, ZoneMap* zones);

}  // namespace endgrade
