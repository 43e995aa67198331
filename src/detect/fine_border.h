// A region's border seen as finely as its own strength allows, with the rim that some particles
// have.
#pragma once

#include "detect/response.h"
#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// The scale that finds a region smooths its border as widely as the region itself; a strong region
// is seen clearly with far less. Draws its border again at the finest smoothing of `scales` at
// which it stands clear of the noise, and takes in a rim of the other sign.
//
//   residual  CV_32FC1, of the map's size, with nothing taken out but lines
//   scales    noise of the search's scales, fine to coarse
//   rim_share least height of a rim over the region's own; lower ones are the camera's sharpening
//   region    changed: cells, edge, smoothing_cells; left alone where the finer border is not the
//             same thing seen better
void RefineBorder(const ContrastMap& map,
                  const cv::Mat& residual,
                  const std::vector<ScaleNoise>& scales,
                  double rim_share,
                  Region* region);

// The camera's sharpening is the same beside everything: what it leaves beside most strong small
// specks it leaves beside others. Least height of a rim as above, no more than `most_share`, which
// is what the cladding's rim tells, where more may lie that looks like it.
[[nodiscard]] double FringeBesideSpecks(const ContrastMap& map,
                                        const cv::Mat& residual,
                                        const std::vector<ScaleNoise>& scales,
                                        const std::vector<Region>& specks,
                                        double most_share);

}  // namespace endgrade
