// Which of the circles in a picture is the cladding.
//
// The model: a fibre is a set of circles about one centre. From inside out: a core (8 to 10 um for
// single-mode, 50 or 62.5 um for multimode, of 125 um); the cladding's rim; perhaps an adhesive
// ring's outer border, up to a seventh larger; far outside the ferrule's own edge, 10 or 20 times
// as large (1.25 and 2.5 mm); and, about any centre, the round mask of the camera, black beyond.
// Thin drawn circles (reticles) and dried droplets have the same brightness on either side.
#pragma once

#include "locate/ring_view.h"

#include <vector>

namespace endgrade::locate {

// Off the score of a circle that is dark outside and has no core.
inline constexpr double kDarkPenalty = 0.3;

// Off the score of a circle that lies in a ring around something as dark as what is around the
// ring.
inline constexpr double kHolePenalty = 1.0;

struct Cladding {
  Ring ring;
  RingView view;
  double score = 0;           // 1 for a whole, round, clear rim and no more; a core adds to it
  bool has_core = false;      // a circle inside has the size and place of one
  bool like_mask = false;     // dark outside, and where a mask would be
  bool domed = false;         // its brightness falls towards the rim
  bool dark_outside = false;  // may be a round mask, or the ferrule's edge
  bool line = false;          // the same on both sides: drawn, or a dried droplet
  bool parts = false;         // or not quite the same
  bool like_hole = false;     // in a washer, or its border
};

// Possible claddings, the likeliest first. `rings` are circles found in reduced pictures; the best
// of them are looked at again at a finer resolution: in one of `levels` (finest first), or in the
// picture itself.
[[nodiscard]] std::vector<Cladding> ChooseCladding(const cv::Mat& luma,
                                                   double white_level,
                                                   const std::vector<Level>& levels,
                                                   const std::vector<Ring>& rings);

}  // namespace endgrade::locate
