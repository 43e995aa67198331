// How sharp the camera is, by the specks that it shows.
#pragma once

#include "endgrade/detect.h"
#include "endgrade/flatten.h"

#include <optional>
#include <vector>

namespace endgrade {

// The rim's own edge may be soft, and the blur read off it is more than the camera's; specks taken
// for what it makes of points would be measured too small. The edge of a speck that is well
// resolved is steeper than that blur allows: the height of a blurred disc over its steepest slope
// is 2.5 sigma once it is 3.5 sigma across (Gaussian blur of a disc, computed).
//
//   returns   sigma of the camera's blur, cells, as the median of what specks say; nothing where
//             fewer than three are plain and resolved
[[nodiscard]] std::optional<double> BlurBySpecks(const ContrastMap& map,
                                                 const std::vector<Region>& regions);

}  // namespace endgrade
