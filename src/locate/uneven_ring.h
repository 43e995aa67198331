// An adhesive ring that is wider on one side than on the other.
#pragma once

#include "locate/level.h"
#include "locate/rim_profile.h"

#include <optional>
#include <vector>

namespace endgrade::locate {

struct UnevenRing {
  RimOffset glass;   // of the glass's own edge from the map's ellipse
  double sigma = 1;  // of the blur, pixels of the level
  double ring = 0;   // median width, pixels of the level
};

// Fits the rim's model to each part of the turn by itself, from `common`, which was fitted to the
// whole. The ring is taken to be as deep everywhere as where it is widest. Nothing when too little
// of the rim is seen or when the parts do not differ.
[[nodiscard]] std::optional<UnevenRing> FitUnevenRing(const PolarMap& map,
                                                      const std::vector<double>& weights,
                                                      double radius,
                                                      const RimModel& common);

}  // namespace endgrade::locate
