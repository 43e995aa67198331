// The steps in brightness that a rim is made of.
#pragma once

#include "locate/step_fit.h"

#include <optional>

namespace endgrade::locate {

// A step at the rim, or two with an adhesive ring between them, each blurred by the same Gaussian,
// on brightness that is straight on either side; the tone curve that the camera stores light by;
// and the overshoot of a camera that sharpens, which
// is the same on both sides of a step.
struct RimModel {
  double rim = 0;              // distance of the glass's own step, outwards
  double sigma = 1;            // of the blur
  std::optional<double> ring;  // width of the adhesive ring
  double step = 0;             // outside minus inside, past the ring
  double first_step = 0;       // at the rim alone
  double rim_uncertainty = 0;  // standard deviation of `rim`
  double misfit = 0;           // root mean square over the noise

  // The model itself: light is stored as light ^ (1 / tone).
  StepShape shape;
  StepTerms terms;
  double tone = 1.0;
};

// The profile in light instead of what is stored.
[[nodiscard]] RimProfile InLight(const RimProfile& stored, double tone);

// The simplest of these models that the profile does not contradict. Nothing if it is too short.
[[nodiscard]] std::optional<RimModel> FitRimModel(const RimProfile& profile);

}  // namespace endgrade::locate
