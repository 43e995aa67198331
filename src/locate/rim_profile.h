// The brightness across a rim, averaged along it, and the steps that it is made of.
#pragma once

#include <optional>
#include <vector>

namespace endgrade::locate {

// Mean brightness by distance from the ellipse. `noise` is the standard error of each value.
struct RimProfile {
  std::vector<double> distance;  // outwards, in pixels of the level
  std::vector<double> level;
  std::vector<double> noise;
};

// What the profile is made of: a step at the rim, or two with an adhesive ring between them, each
// blurred by the same Gaussian, on brightness that is straight on either side; and the overshoot of
// a camera that sharpens, which is the same on both sides of a step.
struct RimModel {
  double rim = 0;              // distance of the glass's own step
  double sigma = 1;            // of the blur
  std::optional<double> ring;  // width of the adhesive ring
  double step = 0;             // outside minus inside, past the ring
  double rim_uncertainty = 0;  // standard deviation of `rim`
  double misfit = 0;           // root mean square over the noise
};

[[nodiscard]] std::optional<RimModel> FitRimModel(const RimProfile& profile);

}  // namespace endgrade::locate
