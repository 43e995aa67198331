// A hair or a piece of lint is one thing, though its bright middle, its dark sides and the
// stretches between two bends or two materials are found apart.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Puts together what lies side by side as the middle and the flank of one wide strip, and what goes
// on end to end where such a strip stops. Each group becomes one region that is not a line: moves
// its parts from `lines` and `regions`.
void JoinStrips(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions);

}  // namespace endgrade
