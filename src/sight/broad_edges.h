// Long edges between a lighter and a darker part of the clean face, such as films have that run out
// of the picture or cover most of the face: nothing tells there which of the two is clean.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

namespace endgrade {

// The strongest edge on one material, along 36 um.
struct BroadEdge {
  double contrast = 0;  // step over the material's brightness
  double sigma = 0;     // step over the spread from one place to the next
};

struct BroadEdges {
  BroadEdge glass;    // around the core, or where one may be, up to the rim
  BroadEdge ferrule;  // from beyond the rim outwards
};

// Compares strips of the map side by side, everywhere and in twelve directions; what is `held` is
// left out. Light that changes slowly across the face makes no step between strips 8 um wide,
// and grain none along so many cells.
//   held        as by HeldCells
//   outer_um    radius up to which the ferrule is looked at
//   wide_core   whether a multimode core may be there, seen or not
[[nodiscard]] BroadEdges FindBroadEdges(const ContrastMap& map,
                                        const cv::Mat& held,
                                        double outer_um,
                                        bool wide_core);

}  // namespace endgrade
