// What is too faint to be believed, however far it stands above the noise that was measured.
#pragma once

#include "endgrade/flatten.h"

namespace endgrade {

// The least signal-to-noise at which a thing of `depth` (its height above the background, luma
// units, either sign), `size_um` long, at `radius_um` from the cladding's centre is believed;
// infinite where none is enough. `threshold`: of the search itself, what it is elsewhere.
[[nodiscard]] double LeastBelievedSnr(
    const ContrastMap& map, double radius_um, double size_um, double depth, double threshold);

// The same of a line, whatever threshold it was found with: on the ferrule one that is hardly
// deeper than the lay of its polish must stand out more; elsewhere 0.
[[nodiscard]] double LeastBelievedLineSnr(const ContrastMap& map, double radius_um, double depth);

// The least depth of a line that is believed, luma units.
[[nodiscard]] double LeastLineDepth(const ContrastMap& map);

}  // namespace endgrade
