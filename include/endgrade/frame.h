// A decoded picture and where it came from: what every later step starts from.
#pragma once

#include <opencv2/core.hpp>

#include <filesystem>
#include <string>

namespace endgrade {

struct Frame {
  // Brightness, CV_8UC1 or CV_16UC1, already turned upright by the EXIF or TIFF orientation. For a
  // colour file this is its luma: ITU-R BT.601 weights, as JPEG stores it.
  cv::Mat luma;

  // The same pixels in colour, CV_8UC3 in blue, green, red order. Empty unless it was asked for.
  cv::Mat colour;

  // The value of full white in `luma`: 255 at 8 bits. At 16 it is the largest value of 8, 10, 12,
  // 14 or 16 bits, the fewest that hold the brightest sample: many cameras leave the low bits in
  // use.
  double white_level = 255.0;

  // A lossy file rounds the mean brightness of each of its blocks to multiples of this, luma units:
  // of a JPEG its table's first step over 8. 0 where pixels are stored as they are.
  double block_step = 0.0;

  std::filesystem::path path;  // as the caller gave it
  std::string sha256;          // of the file's bytes, lower-case hex; empty for a frame from memory
};

}  // namespace endgrade
