// What stands out plainly and was not outlined.
#pragma once

#include "endgrade/detect.h"

#include <vector>

namespace endgrade {

// The searches share a model of the clean face, a noise by ring and many rules of what is not dirt;
// a mistake in one of them must not let plain dirt pass. This looks once more at the cells' own
// brightness, against the middle value of what lies around them, with none of those: only at what
// anybody would see, apart from the rim, a single-mode core and what `regions` hold.
//
//   returns   what is left, as regions with half-height borders; hardly ever any
[[nodiscard]] std::vector<Region> LookOnceMore(const ContrastMap& map,
                                               const std::vector<Region>& regions);

}  // namespace endgrade
