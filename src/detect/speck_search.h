// Specks, pits, particles and films: peaks of the matched response over scales, grown to regions.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Searches from fine to coarse. What a scale finds is taken out of `residual` before the next, so
// that a few specks side by side are not also a film.
//
//   residual  CV_32FC1, of the map's size; changed
//   scales    the noise of every scale is added to it
//   returns   regions of one sign each, unmerged, in the order found
[[nodiscard]] std::vector<Region> SearchSpecks(const ContrastMap& map,
                                               const DetectOptions& options,
                                               cv::Mat* residual,
                                               std::vector<ScaleNoise>* scales);

// Regions that touch are one feature; a fringe of the other sign around a strong feature that is
// below `fringe_share` of its height is the camera's sharpening and is dropped.
[[nodiscard]] std::vector<Region> MergeSpecks(const ContrastMap& map,
                                              std::vector<Region> regions,
                                              double fringe_share);

}  // namespace endgrade
