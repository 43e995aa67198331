// Dirt that lies on a scratch.
#pragma once

#include "endgrade/detect.h"

namespace endgrade {

// Whether a region on `line`, of the same sign, is a speck of its own: it lies to one side of it,
// or the line is wider there than elsewhere, not only deeper. A scratch is not equally deep all
// along, but it is as wide. Looks at the map's residual, with nothing taken out of it.
[[nodiscard]] bool IsSpeckOnLine(const ContrastMap& map, const Region& region, const Region& line);

}  // namespace endgrade
