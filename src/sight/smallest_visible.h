// How small a feature of a stated contrast would still have been found, zone by zone.
#pragma once

#include "endgrade/sight.h"

#include <optional>

namespace endgrade {

enum class VisibleShape { kDisc, kLine };

// Length of the scratch that smallest_visible_scratch_um speaks of: half a cladding's radius.
inline constexpr double kVisibleLineUm = 30.0;

// The size (disc: diameter; line of kVisibleLineUm: width) that is found with the stated rate when
// it lies anywhere in the zone, all places alike: the mean chance over the zone's rings of noise.
// Empty when no size is. Held against renders by scripts/bench-accuracy.sh --sight.
[[nodiscard]] std::optional<double> SmallestVisible(const SightInputs& in,
                                                    const Zone& zone,
                                                    const SightOptions& options,
                                                    VisibleShape shape);

}  // namespace endgrade
