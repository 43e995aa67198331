// The clean face but for its core and its glow.
#pragma once

#include "flatten/clean_face.h"
#include "flatten/light.h"
#include "flatten/ring_table.h"

#include <opencv2/core.hpp>

namespace endgrade {

// Glass within the rim's ring, ferrule beyond, and the ring itself, all with their uneven light.
[[nodiscard]] cv::Mat LayLight(const ContrastMap& map,
                               const FaceRings& rings,
                               const RingTable& rim,
                               LightGrid&& light);

}  // namespace endgrade
