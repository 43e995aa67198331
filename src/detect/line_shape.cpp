#include "detect/line_shape.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kLeastLengthUm = 12.0;  // shorter ones may be the rims of particles
constexpr double kLeastAspect = 5.0;     // length over width; our choice, see DEVELOPERS.md
// A wide one must be far longer before it is a scratch rather than a hair, a smear or a piece of a
// droplet's edge: in the outer zones scratches are free and those are not.
constexpr double kSlenderUm = 3.0;
// Nor may it be as wide as half its length for all that is known: a profile through a round thing
// fits a line of any width.
constexpr double kLeastAspectOfWidest = 2.0;
constexpr double kLeastAspectWide = 10.0;
constexpr double kMostStepShare = 0.6;  // side-to-side step over the line's own height: an edge
constexpr double kMostMisfit = 0.45;

}  // namespace

bool LooksLikeALine(double length_um, const LineProfile& profile, double um_per_cell) {
  const double width_um = profile.width_cells * um_per_cell;
  const double height = std::abs(profile.peak);
  // A bright and a dark side count each: refused as a whole, such a one would be found by one of
  // its sides alone, at half its width.
  const bool two_sided = profile.amplitude * profile.right_amplitude < 0;
  const double side_um = two_sided ? 0.5 * width_um : width_um;
  // Nor need it be as long; but five times its width it is, or it is a pit, which has two sides
  // too.
  const double aspect = side_um > kSlenderUm && !two_sided ? kLeastAspectWide : kLeastAspect;
  const double widest_um = width_um + profile.width_uncertainty_cells * um_per_cell;
  const bool long_enough =
      length_um >= std::max({kLeastLengthUm, aspect * width_um, kLeastAspectOfWidest * widest_um});
  const bool an_edge = std::abs(profile.side_step) > kMostStepShare * height;
  return long_enough && side_um <= 0.5 * kWidestScratchUm && !an_edge &&
         profile.misfit <= kMostMisfit;
}

}  // namespace endgrade
