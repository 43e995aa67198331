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

cv::Mat EightBit(const Frame& frame) {
  if (!frame.colour.empty() && frame.colour.size() == frame.luma.size()) return frame.colour;
  if (frame.luma.depth() == CV_8U) return frame.luma;
  cv::Mat reduced;
  frame.luma.convertTo(reduced, CV_8U, 255.0 / frame.white_level);
  return reduced;
}

}  // namespace

Photograph ShowPhotograph(const Frame& frame, const OverlayOptions& options) {
  Photograph shown;
  if (frame.luma.empty()) return shown;
  cv::Mat pixels = EightBit(frame);
  const cv::Size size = ShownSize(pixels.size(), options);
  shown.scale_x = static_cast<double>(size.width) / pixels.cols;
  shown.scale_y = static_cast<double>(size.height) / pixels.rows;
  if (size != pixels.size()) {
    const bool enlarged = size.width > pixels.cols;
    cv::resize(pixels, pixels, size, 0, 0, enlarged ? cv::INTER_NEAREST : cv::INTER_AREA);
  }
  if (pixels.channels() == 1) {
    cv::cvtColor(pixels, shown.pixels, cv::COLOR_GRAY2BGR);
  } else {
    shown.pixels = pixels;  // shared with the frame where nothing was resized: never written to
  }
  return shown;
}

}  // namespace endgrade
