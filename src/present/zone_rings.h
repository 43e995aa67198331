// The zones' borders as thin lettered rings.
#pragma once

#include "endgrade/limits.h"
#include "endgrade/scale.h"
#include "present/feature_marks.h"
#include "present/number_labels.h"

#include <opencv2/core.hpp>

#include <string>
#include <vector>

namespace endgrade {

struct ZoneLetter {
  std::string text;
  cv::Rect2d box;  // overlay pixels
};

// One letter a zone, where no feature, number or other letter is: inside its outer border where the
// zone is broad enough, else in its middle, else on the border. All along one direction if there is
// one that is free. A zone for which no place is free, or none in the picture, has no letter.
[[nodiscard]] std::vector<ZoneLetter> PlaceLetters(const Limits& limits,
                                                   const Scale& scale,
                                                   const Photograph& photograph,
                                                   const FeatureMap& map,
                                                   const std::vector<NumberLabel>& numbers,
                                                   double em_px,
                                                   TextPainter& text);

// Rings with gaps where a feature, its outline or a letter is, and the letters.
void DrawRings(cv::Mat& picture,
               const Limits& limits,
               const Scale& scale,
               const Photograph& photograph,
               const FeatureMap& map,
               const std::vector<ZoneLetter>& letters,
               const LineSizes& sizes,
               double em_px,
               TextPainter& text);

[[nodiscard]] Colour RingColour();

}  // namespace endgrade
