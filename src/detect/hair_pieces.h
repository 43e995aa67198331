// A hair or a piece of lint is wide, round and bent: its lit middle, its dark flanks and a straight
// stretch of it are found each by itself.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Makes each such thing one region. Regions that lie along it or go on where it stops, and lines
// that do, become part of it: a line that is a hair's flank is no scratch.
void JoinHairPieces(const ContrastMap& map,
                    std::vector<Region>* lines,
                    std::vector<Region>* regions);

}  // namespace endgrade
