// Films on the ferrule, by the border that closes around them.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// A film's depth may be no more than what a grainy ferrule differs by over such a stretch, and no
// search by height finds it. Grain has no border, though: a film's is a step of its own depth, all
// the way around.
//
//   returns   large, compact patches of the ferrule with such a border, apart from what `regions`
//             mostly hold
[[nodiscard]] std::vector<Region> SearchFilms(const ContrastMap& map,
                                              const std::vector<Region>& regions);

}  // namespace endgrade
