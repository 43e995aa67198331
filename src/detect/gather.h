// From pieces to things: what a person would call one scratch or one crack is one region.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// Lines that meet end to end at an angle are a crack, not scratches that happen to stop there:
// moves them from `lines` to `regions`, each group as one region that is not a line.
void JoinKinks(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions);

// Whether another of the lines goes on where this one stops.
[[nodiscard]] bool HasSequel(const ContrastMap& map,
                             const std::vector<Region>& lines,
                             size_t which);

// A scratch may skip along, or fade and come back: elongated pieces in a row along one straight
// line, three or more, or one or more beyond the end of a line, are one line.
void JoinDashes(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions);

// One side of a wide scratch may be found as a line and the other as a region: a long straight
// region right beside a line makes it wider.
void JoinFlanks(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions);

// What has become wider than a scratch is by being joined is none: moves it to `regions`.
void ReleaseWide(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions);

}  // namespace endgrade
