// The photograph as the overlay shows it, and the way from its pixels to the overlay's.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/present.h"

#include <opencv2/core.hpp>

namespace endgrade {

struct Photograph {
  cv::Mat pixels;      // CV_8UC3; empty for an empty frame
  double scale_x = 1;  // overlay pixels a photograph pixel
  double scale_y = 1;

  // Pixel centres to pixel centres: the photograph's pixel (0, 0) covers the overlay's pixels from
  // -0.5 to scale - 0.5.
  [[nodiscard]] cv::Point2d FromPx(cv::Point2d p_px) const {
    return {(p_px.x + 0.5) * scale_x - 0.5, (p_px.y + 0.5) * scale_y - 0.5};
  }
};

// In colour where there is any, else its luma, 16 bits reduced to 8 by frame.white_level. Enlarged
// by repeating pixels, reduced by averaging them: nothing is smoothed that was not there.
[[nodiscard]] Photograph ShowPhotograph(const Frame& frame, const OverlayOptions& options);

}  // namespace endgrade
