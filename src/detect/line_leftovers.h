// What the search for lines leaves of lines that it found: where they cross, and where they fade.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Takes out of `regions` what is small and weaker than the lines that cross there, on them and
// nowhere beside them: two strokes upon one another are not as deep as both together. Lengthens a
// line by a slender piece of its sign and direction, no deeper, that goes on where it stops.
void TakeInLeftovers(const ContrastMap& map,
                     std::vector<Region>* lines,
                     std::vector<Region>* regions);

}  // namespace endgrade
