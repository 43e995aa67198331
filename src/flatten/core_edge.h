// A core's edge that is steeper than the cells are fine.
#pragma once

#include "flatten/clean_face.h"
#include "flatten/edge_shape.h"
#include "flatten/light.h"
#include "flatten/ring_table.h"

namespace endgrade {

// In a picture this sharp, between cells an edge is not what straight lines between them say.
inline constexpr double kSharpBlurCells = 0.7;

// Brightness by distance from the core's centre, from the cells as they are: nothing is read
// between them, which would soften the edge. Distances are those on the round edge that `shape`
// makes of the real one.
//
//   before    the same as read along circles: kept where too few cells tell
[[nodiscard]] RingTable EdgeByCells(const ContrastMap& map,
                                    const Scale& scale,
                                    const FaceRings& rings,
                                    const Light& glass,
                                    const EdgeShape& shape,
                                    const RingTable& before);

}  // namespace endgrade
