// From samples as a file stores them to a Frame's brightness and colour.
#pragma once

#include "endgrade/frame.h"

#include <opencv2/core.hpp>

#include <cstdint>

namespace endgrade::read {

// ITU-R BT.601 weights in 16-bit fixed point, rounded, as libjpeg turns RGB into grey: they sum to
// 65536, so that grey stays what it is.
[[nodiscard]] constexpr std::uint32_t Luma(std::uint32_t b, std::uint32_t g, std::uint32_t r) {
  return (7471u * b + 38470u * g + 19595u * r + 32768u) >> 16;
}

// The frame's luma, colour and white level; path and digest are left to the caller.
//
//   samples   CV_8U or CV_16U; 1 channel grey, 2 grey and alpha, 3 blue, green, red, 4 those and
//             alpha. Alpha is straight, not multiplied in
//   colour    whether the frame is to have colour
//
// What is transparent shows nothing, and is read as no light: black, never as glass.
[[nodiscard]] Frame FrameFromSamples(const cv::Mat& samples, bool colour);

// Drops the last channel of 2 or 4, as it is: for files whose last channel is no alpha, or is
// multiplied in already.
[[nodiscard]] cv::Mat WithoutLastChannel(const cv::Mat& samples);

// Turns a frame upright. `orientation` is that of EXIF and TIFF, 1 to 8; others change nothing.
void TurnUpright(int orientation, Frame* frame);

}  // namespace endgrade::read
