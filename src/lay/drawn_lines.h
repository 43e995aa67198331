// Lines that are no part of the face: a reticle that the camera or its program draws into the
// picture.
#pragma once

#include "endgrade/frame.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// Rows, or columns, of pixels that a line covers, over a part of the picture's length.
struct DrawnLine {
  bool upright = false;    // columns
  cv::Range across{0, 0};  // the rows or columns
  cv::Range along{0, 0};   // from where to where on them
};

// What a picture of the face can show.
struct Lens {
  double blur_fwhm_px = 0;  // of the camera, full width at half maximum
  double um_per_px = 1;
};

// Looks within `part` of the picture for lines along one row or column of pixels, or two, over a
// good share of the picture: so straight and so exactly upright is no scratch. They are sharper
// than the lens could make anything on the face; where the lens is as sharp as the pixels, nothing
// is found. A scale's ticks across such a line, all as far apart, are lines of their own.
//
// None where there are more than a reticle has, and none that could hide a mark that matters.
[[nodiscard]] std::vector<DrawnLine> FindDrawnLines(const Frame& frame,
                                                    cv::Rect part,
                                                    const Lens& lens);

// The picture as it is beside the lines, in between. Shares no pixels with `luma`.
[[nodiscard]] cv::Mat WithoutLines(const cv::Mat& luma, const std::vector<DrawnLine>& lines);

}  // namespace endgrade
