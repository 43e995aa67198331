// Where circles may be: every edge votes for the centres that it could belong to.
#pragma once

#include "locate/level.h"

#include <vector>

namespace endgrade::locate {

struct CircleGuess {
  RimFrame frame;      // in pixels of the picture
  int polarity = 1;    // +1: brighter outside than inside; -1: the reverse
  double support = 0;  // share of the circle's rim that voted for it
};

struct CoarseSearch {
  double from_radius = 20.0;  // in pixels of the level
  double to_radius = 42.0;
  int num_guesses = 8;  // most guesses to return per polarity
};

// Gradient voting (Ballard 1981) over centre and radius, each direction of the step apart. Centres
// may lie outside the level by up to half a radius. Strongest first.
[[nodiscard]] std::vector<CircleGuess> VoteForCircles(const Level& level,
                                                      const CoarseSearch& search);

}  // namespace endgrade::locate
