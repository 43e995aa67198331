// Step 2, Frame -> FibreGeometry: where the core and the cladding are.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/geometry.h"
#include "endgrade/reason.h"
#include "endgrade/result.h"

#include <optional>
#include <string>
#include <vector>

namespace endgrade {

struct LocateOptions {
  // Smallest and largest cladding diameter that is looked for, in pixels. Range [30, 4000].
  double min_cladding_diameter_px = 50.0;
  double max_cladding_diameter_px = 2200.0;

  // Least share of the cladding's whole rim (hidden and out-of-picture parts count as unseen) along
  // which an edge must agree with the ellipse, or there is no fibre. Range [0.2, 1].
  double min_rim_seen_fraction = 0.35;

  // Diameters of the core that the fibre should have, um; empty: any. Where a picture can be read
  // as a single-mode fibre in a ring of its ferrule or as a wide core in its cladding, this tells.
  std::vector<double> core_diameters_um;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

struct FibreGeometry {
  // The glass's outer edge: the inner border of an adhesive ring, where there is one.
  Ellipse cladding;
  double cladding_radius_uncertainty_px = 0;  // k = 2, of the mean radius, from the fit alone
  double centre_uncertainty_px = 0;           // k = 2, of either coordinate

  // The core's edge, where it can be seen against the cladding (lit, dark or tinted).
  std::optional<Ellipse> core;

  // Outer edge of a visible adhesive ring, as a multiple of the cladding's radius.
  std::optional<double> adhesive_radius_ratio;

  double rim_in_view_fraction = 0;  // share of the rim that lies inside the picture
  double rim_seen_fraction = 0;     // share of the rim along which an edge agrees with the ellipse

  // The blur of the rim's own step as the sigma of an equivalent Gaussian, pixels. The true edge is
  // taken as sharp, so this is an upper bound of the camera's.
  double blur_sigma_px = 0;

  // Full width at half maximum of a point's image, pixels, as fitted to the rim with the tails
  // apart: a rounded edge looks like tails, and leaves this as it is.
  double blur_fwhm_px = 0;

  // Median step in brightness across the rim, outside minus inside, in luma units.
  double rim_step = 0;
};

struct LocateOutcome {
  std::optional<FibreGeometry> fibre;
  std::optional<Reason> reason;  // set exactly when there is no fibre: code "no_fibre"
};

// Finds the one fibre of a single-fibre ferrule.
//
//   frame     luma of any size; brightness order of core, cladding and ferrule is free
//   returns   geometry with sub-pixel accuracy, or the reason why there is none; a picture without
//             a fibre is a normal outcome, never an error
//   errors    kBadOption; kUnsupported for an empty frame
[[nodiscard]] Result<LocateOutcome> LocateFibre(const Frame& frame,
                                                const LocateOptions& options = {});

// The core by itself, where the cladding is known: by trial of the sizes that cores have. For a
// picture from which scratches across the core have been taken out. Nothing where none is sure.
//
//   centre_uncertainty_px   of the cladding's centre, as in FibreGeometry
[[nodiscard]] std::optional<Ellipse> LocateCore(const Frame& frame,
                                                const Ellipse& cladding,
                                                double centre_uncertainty_px);

}  // namespace endgrade
