#include "present/photograph.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

cv::Size ShownSize(cv::Size size, const OverlayOptions& options) {
  const int least = std::clamp(options.min_long_side_px, 1, 8192);
  const int most = std::clamp(options.max_long_side_px, 200, 20000);
  const int longer = std::max(size.width, size.height);
  if (longer > most) {
    const double ratio = static_cast<double>(most) / longer;
    return {std::max(1, static_cast<int>(std::lround(size.width * ratio))),
            std::max(1, static_cast<int>(std::lround(size.height * ratio)))};
  }
  const int enough = (least + longer - 1) / longer;
  const int factor = std::max(1, std::min(enough, most / longer));
  return {size.width * factor, size.height * factor};
}

// The frame's own pixels: blue-green-red of 8 bits, or luma of 8 or 16.
const cv::Mat& PixelsOf(const Frame& frame) {
  return frame.colour.size() == frame.luma.size() ? frame.colour : frame.luma;
}

}  // namespace

Photograph LayPhotograph(const Frame& frame, const OverlayOptions& options) {
  Photograph laid;
  if (frame.luma.empty()) return laid;
  laid.size = ShownSize(frame.luma.size(), options);
  laid.scale_x = static_cast<double>(laid.size.width) / frame.luma.cols;
  laid.scale_y = static_cast<double>(laid.size.height) / frame.luma.rows;
  return laid;
}

void PaintPhotograph(const Frame& frame, cv::Mat& place) {
  cv::Mat pixels = PixelsOf(frame);  // shared with the frame: never written to
  if (place.size() != pixels.size()) {
    const bool enlarged = place.cols > pixels.cols;
    cv::resize(pixels, pixels, place.size(), 0, 0, enlarged ? cv::INTER_NEAREST : cv::INTER_AREA);
  }
  if (pixels.depth() != CV_8U) pixels.convertTo(pixels, CV_8U, 255.0 / frame.white_level);
  if (pixels.channels() == 1) {
    cv::cvtColor(pixels, place, cv::COLOR_GRAY2BGR);
  } else {
    pixels.copyTo(place);
  }
}

}  // namespace endgrade
