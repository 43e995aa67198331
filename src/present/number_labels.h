// Numbers beside the features that break a rule.
#pragma once

#include "present/feature_marks.h"
#include "present/text_painter.h"

#include <opencv2/core.hpp>

#include <string>
#include <vector>

namespace endgrade {

struct NumberLabel {
  std::string text;
  cv::Rect2d box;      // overlay pixels
  cv::Point2d anchor;  // on the feature's outline, where a leader ends
  bool has_leader = false;
};

// Most numbers on one picture; past that they hide it. The first ones in the order of the record
// are numbered: inner zones first, then the larger features.
inline constexpr int kMostNumbers = 25;

// A place for each number: near its feature, over no feature and no outline, over no other number,
// inside the picture. A feature for which there is no such place goes without.
[[nodiscard]] std::vector<NumberLabel> PlaceNumbers(const FeatureMap& map,
                                                    cv::Size picture,
                                                    const LineSizes& sizes,
                                                    double em_px,
                                                    TextPainter& text);

void DrawNumbers(cv::Mat& picture,
                 const std::vector<NumberLabel>& labels,
                 const LineSizes& sizes,
                 double em_px,
                 TextPainter& text);

// One number's box, centred at `centre`, as it stands on the picture and in the strip.
void DrawNumberBox(cv::Mat& picture,
                   const cv::Rect2d& box,
                   const std::string& number,
                   const LineSizes& sizes,
                   double em_px,
                   TextPainter& text);

[[nodiscard]] cv::Size2d NumberBoxSize(const std::string& number, double em_px, TextPainter& text);

}  // namespace endgrade
