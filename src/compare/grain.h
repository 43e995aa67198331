// Rotation from what the ferrule's grain and polish look like around the cladding.
#pragma once

#include "endgrade/compare.h"

#include <vector>

namespace endgrade::compare {

inline constexpr int kNumAngles = 4096;  // 0.088 degrees, 0.19 um at the contact zone's border

// By rotation from before to after, kNumAngles of them from 0 to 360 degrees: correlation over its
// own spread. All zero where too little of the ferrule is seen in both.
struct GrainCorrelation {
  std::vector<double> sigma;
  bool inverted = false;  // the best peak is dark where the other is bright
};

// Phase correlation along rings outside the cladding: both polar maps are divided by their own
// spectrum and weighted by what both cameras' blur lets through, so that neither light nor contrast
// nor focus decides. Features of either picture are left out, so that marks are a witness of their
// own. De Castro and Morandi 1987 for the idea; Kuglin and Hines 1975 for phase correlation.
[[nodiscard]] GrainCorrelation CorrelateGrain(const Attempt& before,
                                              const Attempt& after,
                                              bool mirrored);

}  // namespace endgrade::compare
