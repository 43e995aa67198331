// A core that scratches cross, seen beside them.
#pragma once

#include "endgrade/detect.h"
#include "endgrade/flatten.h"
#include "endgrade/locate.h"

#include <optional>
#include <vector>

namespace endgrade {

// A single-mode core hardly stands out of its glass, and scratches across it hide it or cut it
// short. Once they are known it is looked for again in a picture in which what lies under them is
// taken from beside them: the face is round.
//
//   regions  what was found on the face
//   returns  the core, in picture pixels, where it turns out to be elsewhere than `fibre` has it
[[nodiscard]] std::optional<Ellipse> CoreUnderScratches(const FibreGeometry& fibre,
                                                        const ContrastMap& contrast,
                                                        const std::vector<Region>& regions);

}  // namespace endgrade
