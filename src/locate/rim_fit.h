// One model for the whole rim, fitted to all its sectors at once.
//
// A ring narrower than the blur shows its depth times its width and no more, and moves the steepest
// place of the rim. What tells its width: its eccentricity, since depth and blur are the same
// around the turn; what rings are like; and, a little, the shape of the profile. What remains
// unsure is in the uncertainty, the doubt whether there is a ring included.
#pragma once

#include "locate/level.h"
#include "locate/rim_model.h"

#include <optional>
#include <vector>

namespace endgrade::locate {

struct RimEstimate {
  RimOffset glass;          // its edge, from the ellipse
  double radius_sigma = 0;  // standard deviations, pixels of the level
  double centre_sigma = 0;

  // Of the likeliest model. Brightness as stored, median over the sectors; widths in pixels of the
  // level.
  RingKind kind = RingKind::kNone;
  double blur_sigma = 1;
  double blur_fwhm = 2;  // of the spread of a point, full width at half maximum
  double ring_width = 0;
  double glass_level = 0;
  double ring_level = 0;
  double ferrule_level = 0;
};

//   in_level   an ellipse near the rim, in the level's own pixels
//   seen       evenly spread over the turn: above 0 where the rim looks as it does elsewhere
//   returns    nothing where too little of the rim is in the picture
[[nodiscard]] std::optional<RimEstimate> FitWholeRim(const Level& level,
                                                     const RimFrame& in_level,
                                                     const std::vector<double>& seen);

}  // namespace endgrade::locate
