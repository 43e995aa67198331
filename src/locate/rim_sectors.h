// The brightness across a rim, sector by sector, with its noise.
#pragma once

#include "locate/level.h"
#include "locate/rim_model.h"

namespace endgrade::locate {

struct SectorPlan {
  int sectors = 24;
  double from = 0.87;  // share of the ellipse's radius
  double to = 1.13;
  int most_columns = 48;
};

// Sectors that lie in the picture. `in_level` is the ellipse in the level's own pixels.
[[nodiscard]] RimData GatherSectors(const Level& level,
                                    const RimFrame& in_level,
                                    const SectorPlan& plan);

}  // namespace endgrade::locate
