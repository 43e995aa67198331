// Step 4, Scale + Limits -> ZoneMap: which zone each pixel belongs to.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/limits.h"
#include "endgrade/scale.h"

#include <opencv2/core.hpp>

#include <cstdint>
#include <vector>

namespace endgrade {

struct ZoneMap {
  static constexpr std::uint8_t kOutside = 255;

  cv::Rect roi_px;  // the part of the picture that the zones touch; empty if none is in view
  cv::Mat labels;   // CV_8UC1 of roi_px's size: index into limits.zones, or kOutside

  double outer_um = 0;  // radius of the outermost zone's outer border

  // By zone: the share of the zone's area that lies inside the picture and shows the face, 0 to 1.
  std::vector<double> in_view_fraction;

  // Blocks of kHiddenStep x kHiddenStep pixels of the whole picture in which the face cannot be
  // seen (255), CV_8UC1; empty if there are none.
  static constexpr int kHiddenStep = 4;
  cv::Mat hidden;

  [[nodiscard]] bool IsHidden(cv::Point2d p_px) const {
    const int x = static_cast<int>(p_px.x) / kHiddenStep;
    const int y = static_cast<int>(p_px.y) / kHiddenStep;
    return !hidden.empty() && x >= 0 && y >= 0 && x < hidden.cols && y < hidden.rows &&
           hidden.at<std::uint8_t>(y, x) != 0;
  }
};

[[nodiscard]] ZoneMap LayZones(cv::Size picture, const Scale& scale, const Limits& limits);

// Takes out of the zones what a black mask around the field of view hides: many probes show the
// face through a round stop. Black all the way to the picture's border is a stop; a dark ferrule is
// never quite black, or comes up to the glass where a stop has stray light on it. Lowers
// in_view_fraction; labels become kOutside there.
void HideFieldStop(const Frame& frame, const Scale& scale, ZoneMap* zones);

// Takes out of the zones what a frame of one colour around the picture covers, as of a picture of a
// screen: from any of its four sides, with writing on it or without.
void HidePictureFrame(const Frame& frame, ZoneMap* zones);

// Index of the innermost zone that holds a point at `radius_um` from the centre; -1 outside all.
[[nodiscard]] int ZoneAt(const Limits& limits, double radius_um);

}  // namespace endgrade
