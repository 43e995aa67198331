// How much of each zone is at an end of the brightness scale and shows nothing.
#pragma once

#include "endgrade/sight.h"

#include <vector>

namespace endgrade {

// Share, 0 to 1, of every zone's pixels that are clipped; a zone outside the picture has 0.
//
//   overall   the same of all zones together
//
// A sensor that clips before its colours are mixed, or whose range is stretched afterwards, has its
// white below the file's: a level that much of a zone shares and that next to nothing exceeds
// counts as white too. Noise would spread what is not clipped over the levels beside it.
[[nodiscard]] std::vector<double> ClippedByZone(const SightInputs& in, double* overall);

}  // namespace endgrade
