// The strip below the photograph: verdict, reasons, scale bar, legend, and where it all came from.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/judge.h"
#include "endgrade/limits.h"
#include "present/number_labels.h"
#include "present/photograph.h"
#include "present/text_painter.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct StripContent {
  const Frame& frame;
  const Limits& limits;
  const Grade& grade;
  const Photograph& photograph;
  const std::vector<NumberLabel>& numbers;  // as drawn on the photograph
};

// Draws the strip into `canvas` from row `top` on, over its whole width, and returns the row below
// it. No more than `kMostStripEms` of the text's em are used, however much there is to say.
[[nodiscard]] int DrawStrip(
    cv::Mat& canvas, int top, const StripContent& content, double em_px, TextPainter& text);

inline constexpr double kMostStripEms = 22;

}  // namespace endgrade
