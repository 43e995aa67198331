// A lit core's light spreads in the lens and in the sensor far beyond the core.
#pragma once

#include "flatten/clean_face.h"
#include "flatten/light.h"

#include <opencv2/core.hpp>

namespace endgrade {

// Adds to the glass of `clean` (CV_32FC1, of the map's size, luma units) what a lit single-mode
// core's glow makes brighter: as much at any distance from the core as half of the directions show,
// falling at least as fast as the distance grows, so that a film or a drying ring about the core is
// not taken for it.
void AddGlow(const ContrastMap& map,
             const Scale& scale,
             const FaceRings& rings,
             const Light& glass,
             cv::Mat* clean);

}  // namespace endgrade
