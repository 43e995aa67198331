// What of the rim's brightness changes slowly around the turn: a ring of adhesive that is thick
// here and thin there, and an edge that the fitted ellipse misses by a fraction of a cell.
#pragma once

#include "endgrade/flatten.h"
#include "flatten/clean_face.h"
#include "flatten/polar_samples.h"
#include "flatten/ring_table.h"

#include <vector>

namespace endgrade {

// Luma units to add to the clean face, by distance and direction from the cladding's centre; zero
// away from the rim.
class UnevenRim {
 public:
  // Running medians along each circle: what is shorter along the rim than half of their reach
  // (18 um) is left alone, be it ever so strong. Dirt that is longer is taken for the rim's own up
  // to three times what the rest of the circle shows, and no further.
  //
  //   samples  read about the cladding's centre
  //   even     the clean face without this, luma units: what it shows by radius,
  //   uneven   and what it adds at each sample
  UnevenRim(const ContrastMap& map,
            const FaceRings& rings,
            const PolarSamples& samples,
            const RingTable& even,
            const std::vector<double>& uneven);

  [[nodiscard]] double At(cv::Point2d um, double radius_um) const;

  [[nodiscard]] double from_um() const { return from_um_; }
  [[nodiscard]] double to_um() const { return to_um_; }

 private:
  double from_um_ = 0;
  double to_um_ = 0;
  double first_um_ = 0;  // of the rows of `values_`
  double step_um_ = 1;
  int num_radii_ = 0;
  std::vector<float> values_;  // num_radii_ x kPlaces
};

// Adds it to `clean`, CV_32FC1, of the map's size.
void AddUnevenRim(const ContrastMap& map, const UnevenRim& rim, cv::Mat* clean);

}  // namespace endgrade
