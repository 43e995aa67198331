// How strong a fringe the camera's own sharpening leaves beside an edge.
#pragma once

#include "endgrade/flatten.h"

namespace endgrade {

// Least height of a ring of the other sign around a feature, over the feature's own height, that is
// more than sharpening: what the glass shows along the cladding's rim, the one edge that every
// picture has, and a margin. Range [0.12, 0.42]; the rim of a face without one tells nothing and
// gives the least.
[[nodiscard]] double FringeShare(const ContrastMap& map);

}  // namespace endgrade
