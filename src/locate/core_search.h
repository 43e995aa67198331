// The core by trial: does the brightness step, all around, on a circle of a size that cores have?
#pragma once

#include "endgrade/frame.h"
#include "endgrade/geometry.h"

#include <optional>

namespace endgrade::locate {

// Tries circles of 6 to 13 um and of 44 to 70 um across, centred within 2.5 um of the cladding, and
// takes the one with the surest step. Finds fainter cores than an edge search can, because it knows
// where to look; a particle is not taken for a core, because its step is not the same all around,
// or because it lies farther off the middle than a core may.
//
//   centre_uncertainty_px   of the cladding's centre, k = 2, either coordinate
[[nodiscard]] std::optional<Ellipse> SearchCore(const Frame& frame,
                                                const Ellipse& cladding,
                                                double centre_uncertainty_px);

// A core in the middle of the circle, as SearchCore finds it, if it is a disc and not drawn:
// brighter or darker than what is around it by `least_step` luma units.
[[nodiscard]] std::optional<Ellipse> SearchPlainCore(const Frame& frame,
                                                     const Ellipse& cladding,
                                                     double centre_uncertainty_px,
                                                     double least_step);

// Of two fits of a wide core of about the same size: the one about whose centre the brightness is
// more alike in all directions.
[[nodiscard]] Ellipse MoreAlikeAround(const Frame& frame,
                                      const Ellipse& cladding,
                                      const Ellipse& core,
                                      const Ellipse& other);

// Whether a core of this size may lie there: a single-mode core is within 0.6 um of the middle
// (ITU-T G.652, from memory). A round speck beside it is not. `faint`: its own fit is less sure.
[[nodiscard]] bool MayLieThere(const Ellipse& core,
                               const Ellipse& cladding,
                               double centre_uncertainty_px,
                               bool faint = false);

}  // namespace endgrade::locate
