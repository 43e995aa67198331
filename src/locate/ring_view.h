// What is on either side of a circle.
#pragma once

#include "locate/level.h"
#include "locate/ring_fit.h"

namespace endgrade::locate {

struct RingView {
  double inside = 0;          // median brightness just inside, luma units
  double outside = 0;         // and just outside
  double inside_texture = 0;  // robust spread of brightness about the median profile
  double outside_texture = 0;
  double inside_fall = 0;  // from 0.8 of the radius to 0.92
  double peak = 0;         // largest excursion of the median profile beyond the two
  double step = 0;         // from inside to outside, freed of smooth changes of the light
  double step_noise = 0;   // standard deviation of that
};

// `level` holds the ring and its surroundings.
[[nodiscard]] RingView LookAtRing(const Level& level, const Ring& ring);

}  // namespace endgrade::locate
