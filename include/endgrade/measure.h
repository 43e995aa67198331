// Step 7, regions -> Feature[]: kind, size, width, length, uncertainty, zone.
#pragma once

#include "endgrade/detect.h"
#include "endgrade/flatten.h"
#include "endgrade/frame.h"
#include "endgrade/limits.h"
#include "endgrade/scale.h"

#include <opencv2/core.hpp>

#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// One thing on the end face. Everything in micrometres is in end-face coordinates.
struct Feature {
  int id = 0;  // 1-based, in the order of the record
  FeatureKind kind = FeatureKind::kDefect;
  int zone = -1;  // index into limits.zones: the innermost zone that it touches

  double size_um = 0;              // scratch: width; defect: enclosing diameter
  double size_uncertainty_um = 0;  // k = 2
  double diameter_enclosing_um = 0;
  std::optional<double> width_um;   // blur-corrected; empty if not measured
  std::optional<double> length_um;  // along the feature
  double area_um2 = 0;

  double contrast_peak = 0;  // (inside - background) / background; negative: darker
  double snr = 0;            // matched response over local noise
  cv::Point2d centre_px;
  cv::Point2d centre_um;
  std::vector<cv::Point2d> outline_px;  // closed polygon, in picture pixels

  bool cut_by_frame = false;  // runs out of the picture: size is a lower bound
  bool saturated = false;     // touches clipped pixels
  bool may_hide_another =
      false;                 // a scratch that stops at another, or at which one does or a mark lies
  bool may_be_lint = false;  // a scratch as wide, short and bright as lint that lies there

  std::vector<std::string> breaks;  // rule ids, filled by judge
};

// Sizes every region. Features come out ordered by zone (inside out), then larger size first.
[[nodiscard]] std::vector<Feature> MeasureFeatures(const Frame& frame,
                                                   const ContrastMap& contrast,
                                                   const Scale& scale,
                                                   const Limits& limits,
                                                   const std::vector<Region>& regions);

}  // namespace endgrade
