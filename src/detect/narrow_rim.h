// A particle's rim as the mean of rings around its body: what is too thin or too faint to be seen
// cell by cell still has an outer border there.
#pragma once

#include <opencv2/core.hpp>

#include <optional>

namespace endgrade {

// No cell that is further from the body's border than this is looked at.
inline constexpr float kNarrowRimReach = 6.0F;

struct NarrowRimInputs {
  const cv::Mat& height;     // CV_32FC1: in the body's own sign, above its surroundings
  const cv::Mat& distance;   // CV_32FC1: cells from the body's border, below 0 inside it
  const cv::Mat& looked_at;  // CV_8UC1: where to look; empty: everywhere
  double noise = 0;          // of one cell of `height`
  double blur_cells = 0;     // of the body's border: standard deviation
  double least_share = 0;    // of the body's height: a lower rim is the camera's sharpening
};

// How far out, in cells from the body's border, the rim falls to half of its depth; nothing when
// there is none.
[[nodiscard]] std::optional<double> FindNarrowRim(const NarrowRimInputs& in);

}  // namespace endgrade
