// Scratches that stop at others, or have something at their side.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// For each region: whether it is a line of which an end lies beside the middle part of another, or
// the line at which another ends so, or at whose side a small, faint mark lies. The one may go on
// beneath the other, or be a piece of a third that does: what is counted there may be one too few.
[[nodiscard]] std::vector<bool> MayHideAnother(const ContrastMap& map,
                                               const std::vector<Region>& regions);

}  // namespace endgrade
