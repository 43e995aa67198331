// What the clean face would show: the brightness of core, cladding, rim and ferrule by distance
// from the centre, times uneven light. Fitted to the picture so that dirt does not pull it along.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <array>
#include <vector>

namespace endgrade {

// Where free-form rings may be used. Everywhere else the brightness by radius is a smooth
// polynomial: a free-form ring would swallow a particle that sits right on the centre, or a drying
// ring around it, and pass it as part of the face.
struct FaceRings {
  double cladding_radius_um = 62.5;  // as measured at the scale in use
  double core_radius_um = 0;         // 0: no visible core
  cv::Point2d core_centre_um;        // against the cladding's centre
  double core_from_um = 0;           // free-form ring about the core's edge
  double core_to_um = 0;
  double rim_from_um = 0;  // free-form ring about the rim and the adhesive
  double rim_to_um = 0;
  double outer_um = 0;  // end of the region
};

[[nodiscard]] FaceRings PlanRings(const FibreGeometry& fibre,
                                  const Scale& scale,
                                  const ContrastMap& map);

struct CleanFace {
  cv::Mat brightness;    // CV_32FC1, of the map's size, luma units
  double rim_range = 0;  // brightest less darkest ring about the rim, luma units
};

// The clean face fitted to `map.level`.
[[nodiscard]] CleanFace FitCleanFace(const ContrastMap& map,
                                     const Scale& scale,
                                     const FaceRings& rings);

}  // namespace endgrade
