// Pictures to bytes, through the libraries of the formats themselves, and back for JPEG.
#pragma once

#include "endgrade/result.h"
#include "endgrade/scene.h"

#include <opencv2/core.hpp>

#include <string>

namespace endgrade::render {

// Errors: kInternal, with the library's own words.
[[nodiscard]] Result<std::string> EncodePng(const cv::Mat& picture);
[[nodiscard]] Result<std::string> EncodeJpeg(const cv::Mat& picture, int quality, bool half_chroma);
[[nodiscard]] Result<cv::Mat> DecodeJpeg(const std::string& bytes);

}  // namespace endgrade::render
