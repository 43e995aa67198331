// Whether what is within a circle is another surface than what is around it.
#pragma once

#include "locate/level.h"
#include "locate/rim_frame.h"

namespace endgrade::locate {

// How much rougher it is around the circle than within: 1 for a circle that is drawn on one
// surface, more for polished glass in a ferrule's grain, even where both are equally bright.
struct Roughness {
  double ratio = 1;  // of the texture outside over that inside, median over the sectors
  double share = 0;  // of the sectors, in which the outside is plainly the rougher
};

//   level   of RimLevel: the circle and what is around it
[[nodiscard]] Roughness CompareSides(const Level& level, const RimFrame& circle);

// Whether they differ by more than dirt, light and chance make of one surface.
[[nodiscard]] bool AreTwoSurfaces(const Roughness& sides);

}  // namespace endgrade::locate
