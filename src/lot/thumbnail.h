// A small picture of the zones, for the report.
#pragma once

#include "endgrade/judge.h"

#include <opencv2/core.hpp>

#include <string>

namespace endgrade::lot {

struct Thumbnail {
  std::string jpeg;     // grey, square; empty when it could not be made
  double width_um = 0;  // of the face that it shows, cladding in the middle; 0: the whole picture
};

inline constexpr int kThumbnailSide_px = 224;
inline constexpr double kThumbnailWidth_um = 270;  // the contact zone of 250 um and a margin

// Where there is a fibre, the square around it; else the whole picture with black beside it.
[[nodiscard]] Thumbnail MakeThumbnail(const cv::Mat& luma, double white_level, const Grade& grade);

// The same picture at a smaller side. Empty when `jpeg` is no JPEG.
[[nodiscard]] std::string Shrink(const std::string& jpeg, int side_px);

}  // namespace endgrade::lot
