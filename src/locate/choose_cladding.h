// Which of the circles in a picture is the cladding.
//
// The model: a fibre is a set of circles about one centre. From inside out: a core (8 to 10 um for
// single-mode, 50 or 62.5 um for multimode, of 125 um); the cladding's rim; perhaps an adhesive
// ring's outer border, up to a seventh larger; far outside the ferrule's own edge, 10 or 20 times
// as large (1.25 and 2.5 mm); and, about any centre, the round mask of the camera, black beyond.
// Thin drawn circles (reticles) and dried droplets have the same brightness on either side.
#pragma once

#include "locate/level.h"
#include "locate/ring_fit.h"

#include <vector>

namespace endgrade::locate {

struct RingView {
  double inside = 0;          // median brightness just inside, luma units
  double outside = 0;         // and just outside
  double inside_texture = 0;  // robust spread of brightness about each ray's own mean
  double outside_texture = 0;
  double peak = 0;  // largest excursion of the median profile between the two
};

[[nodiscard]] RingView LookAtRing(const Level& level, const Ring& ring);

struct Cladding {
  Ring ring;
  double score = 0;
  bool doubtful = false;  // could be a mask or the ferrule's edge: look for something smaller first
};

// Possible claddings, the likeliest first.
[[nodiscard]] std::vector<Cladding> ChooseCladding(const std::vector<Level>& levels,
                                                   const std::vector<Ring>& rings);

// The level in which a circle of this radius (pixels of the picture) is 25 to 60 pixels in radius,
// or the finest there is.
[[nodiscard]] const Level& LevelFor(const std::vector<Level>& levels, double radius);

}  // namespace endgrade::locate
