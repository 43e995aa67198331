// A guessed circle, held against the picture: an ellipse through the edges that rays cross near it.
#pragma once

#include "locate/coarse_search.h"
#include "locate/level.h"

#include <optional>
#include <vector>

namespace endgrade::locate {

// One edge on one ray: where (as a share of the frame's radius, from it outwards) and how clear.
struct RayEdge {
  double cos_t = 1;
  double sin_t = 0;
  double offset = 0;
  double weight = 1;
};

// Offsets of a rim from edges, some of which are of something else: iteratively reweighted least
// squares with Tukey's biweight at `tolerance`. The oval terms are held towards zero by what
// non-square pixels and tilt allow, so that half a rim is enough.
[[nodiscard]] RimOffset FitOffset(const std::vector<RayEdge>& edges,
                                  const RimOffset& start,
                                  double tolerance);

struct Ring {
  RimFrame frame;      // in pixels of the picture
  int polarity = 1;    // +1: brighter outside than inside; -1: the reverse
  double seen = 0;     // share of the whole rim where an edge of that polarity is on the ellipse
  double in_view = 0;  // share of the whole rim inside the picture
  double scatter = 0;  // standard deviation of these edges about the ellipse, share of the radius
  double radius_in_level = 1;  // of the level it was fitted in, its pixels
  double strength = 0;  // median slope across the rim where it is seen, in units of the noise
};

// How hard to look: a first guess needs less than what decides.
enum class Care { kQuick, kThorough };

// `reach` is the share of the radius within which edges are looked for at first.
[[nodiscard]] std::optional<Ring> FitRing(const Level& level,
                                          const CircleGuess& guess,
                                          double reach,
                                          Care care);

}  // namespace endgrade::locate
