// What a disc looks like through a Gaussian blur, and back: the true diameter behind a seen one.
#pragma once

namespace endgrade {

// Height at distance `from_centre` of a disc of unit height, radius `radius`, under a Gaussian of
// `sigma` (all one unit): the chance that a point scattered by the Gaussian about `from_centre`
// falls inside the disc (the circular coverage function). For radius up to 6 sigma: beyond, the
// quadrature is too coarse, and no blur matters.
[[nodiscard]] double BlurredDisc(double from_centre, double radius, double sigma);

// At the centre it has a closed form: 1 - exp(-radius^2 / (2 sigma^2)).
[[nodiscard]] double BlurredDiscPeak(double radius, double sigma);

struct DiscSize {
  double diameter = 0;     // of the disc itself; 0: smaller than the blur can tell
  double sensitivity = 1;  // d(diameter) / d(seen diameter)
};

// The disc whose blurred picture is `seen_diameter` wide at half of its own peak.
[[nodiscard]] DiscSize DiscBehindBlur(double seen_diameter, double sigma);

}  // namespace endgrade
