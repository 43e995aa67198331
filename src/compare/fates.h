// What became of each feature between two photographs.
#pragma once

#include "endgrade/compare.h"

#include <vector>

namespace endgrade::compare {

// With the rotation known: by place. Features of before in their order, then new ones of after.
[[nodiscard]] std::vector<FeatureFate> FatesByPlace(const Attempt& before,
                                                    const Attempt& after,
                                                    const Registration& registration,
                                                    const CompareOptions& options);

// Without: by distance from the centre, size and kind.
[[nodiscard]] std::vector<FeatureFate> FatesByRadius(const Attempt& before, const Attempt& after);

}  // namespace endgrade::compare
