// The core's edge inside a cladding, where it can be seen.
#pragma once

#include "locate/level.h"

#include <optional>

namespace endgrade::locate {

// `level` holds the cladding at the resolution that its rim was measured in. The core has a centre
// of its own, up to 1.5 um (of 125) from the cladding's, and the cladding's shape. Nothing when no
// edge stands out of the noise all around.
[[nodiscard]] std::optional<RimFrame> FindCore(const Level& level, const RimFrame& cladding);

}  // namespace endgrade::locate
