// The same features in several photographs of one face.
#pragma once

#include "summary/faces.h"

#include <vector>

namespace endgrade::study {

// One feature as each photograph measured it.
struct MatchedFeature {
  bool scratch = false;
  std::vector<double> sizes_um;  // by photograph
};

// Features that every photograph shows, once each, of one kind. Two are the same when their centres
// lie within 4 um, or a quarter of the larger diameter, of each other about the cladding's centre,
// after the face is turned by the angle that brings the most of them together; it is turned at all
// only when that matches two more than no turn does. Only the 40 largest of a photograph are looked
// at. Both lengths are ours: four times the centre's own 1 um, and a shape's loose end.
//
//   photographs   marks of each; of none or one photograph nothing is matched
[[nodiscard]] std::vector<MatchedFeature> MatchFeatures(
    const std::vector<std::vector<summary::Mark>>& photographs);

}  // namespace endgrade::study
