// The photograph as the overlay shows it, and the way from its pixels to the overlay's.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/present.h"

#include <opencv2/core.hpp>

namespace endgrade {

// How large the photograph is shown: enlarged by a whole number, or reduced.
struct Photograph {
  cv::Size size;       // overlay pixels; empty for an empty frame
  double scale_x = 1;  // overlay pixels a photograph pixel
  double scale_y = 1;

  // Pixel centres to pixel centres: the photograph's pixel (0, 0) covers the overlay's pixels from
  // -0.5 to scale - 0.5.
  [[nodiscard]] cv::Point2d FromPx(cv::Point2d p_px) const {
    return {(p_px.x + 0.5) * scale_x - 0.5, (p_px.y + 0.5) * scale_y - 0.5};
  }
};

[[nodiscard]] Photograph LayPhotograph(const Frame& frame, const OverlayOptions& options);

// Fills `place` (CV_8UC3 of photograph.size): in colour where there is any, else the luma, 16 bits
// brought to 8 by frame.white_level. Enlarged by repeating pixels, reduced by averaging them:
// nothing is smoothed or sharpened.
void PaintPhotograph(const Frame& frame, cv::Mat& place);

}  // namespace endgrade
