// What forbids a pass although no rule is broken: what the picture could not have shown, and what
// it says against the limits. Each function adds its reasons in a fixed order.
#pragma once

#include "endgrade/judge.h"

#include <vector>

namespace endgrade {

struct Conditions {
  std::vector<Reason> forbid;  // a pass
  std::vector<Reason> warn;    // beside any verdict
  bool poor = false;        // the picture itself (focus, movement, haze, clipping) forbids a pass
  bool noisy = false;       // small features could be missed in it
  bool middle_cut = false;  // the fibre's middle is not all in view
};

// Every zone with a rule that can be broken lies inside the picture ("zone_cut_off"), and what must
// be seen there would have been ("cannot_see_small").
void CheckSight(const std::vector<ZoneSight>& sight,
                const Quality& quality,
                const Scale& scale,
                const Limits& limits,
                const JudgeOptions& options,
                Conditions& conditions);

// The scale can be used ("scale_unknown") and does not contradict the cladding ("cladding_size").
void CheckScale(const Scale& scale, Conditions& conditions);

// The face is of the fibre that the limits are for.
//
// A core that is clearly of another kind forbids a pass, both ways ("wrong_fibre"). Multimode
// limits on a single-mode face are looser nearly everywhere. Single-mode limits on a multimode face
// look stricter and are not everywhere: of edition 2, `sm-apc` leaves scratches free from 25 to 65
// um, where `mm-pc` allows none over 3 um, and five defects of 3 um at 20 um from the centre pass
// `sm-upc` but not `mm-pc`. Who wants to grade so can: limits with `core_diameters_um = []` take
// any core. A core of no known kind only warns ("core_size"): what was found may not be the core.
//
// A cladding that is longer one way by more than fibres and angled polish explain comes from pixels
// that are not square or from tilt; sizes are corrected for it, so it warns ("cladding_oval"), up
// to what no camera explains ("cladding_not_round"). Whether a face is angled cannot be told from
// its outline: the angle changes it by 1 % at most, as much as fibres may be out of round
// (IEC 60793-2-50, from memory). A single-mode core farther off the middle than any fibre's, where
// the middle is not sure by itself, tells that the edge was not seen well ("core_off_centre"):
// zones laid about it are not the fibre's.
void CheckFace(const FibreGeometry& geometry,
               const Scale& scale,
               const Limits& limits,
               Conditions& conditions);

}  // namespace endgrade
