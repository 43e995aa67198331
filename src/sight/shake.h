// Whether the camera moved while it took the picture.
#pragma once

#include "endgrade/flatten.h"

namespace endgrade {

struct RimWidths {
  double mean_um = 0;   // mean width of the rim's edge: its height over its steepest slope
  double swing_um = 0;  // how much more along the direction in which it is widest
  bool shaken = false;  // the swing is more than the scatter around the rim explains
};

// A shaken picture is sharp across the movement and soft along it: the width of the rim's edge goes
// twice up and down around the face. Focus that falls off to one side goes round once and does not
// count.
[[nodiscard]] RimWidths MeasureRimWidths(const ContrastMap& map);

}  // namespace endgrade
