// A picture in memory -> the bytes of a file. The same picture gives the same bytes.
#pragma once

#include "endgrade/result.h"

#include <opencv2/core.hpp>

#include <string>

namespace endgrade {

// PNG. Rows are stored as differences from the row above, and packed by libdeflate at its quickest
// level: 20 ms for 1920 x 1080 where zlib takes 50, and smaller.
//
//   picture   CV_8UC1 or CV_16UC1 grey, CV_8UC3 blue-green-red; not empty
//   errors    kUnsupported for any other type or size, kInternal, kOutOfMemory
[[nodiscard]] Result<std::string> EncodePng(const cv::Mat& picture);

constexpr int kOverlayQuality = 92;

// JPEG, colour at full resolution so that thin coloured lines stay sharp.
//
//   quality   1 to 100
//   picture   CV_8UC1 or CV_8UC3, at most 65,500 pixels a side; not empty
//   errors    as above
[[nodiscard]] Result<std::string> EncodeJpeg(const cv::Mat& picture, int quality = kOverlayQuality);

}  // namespace endgrade
