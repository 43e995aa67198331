// Fine stripes that the camera lays over the whole picture: beats between its lines and a grabber's
// or a display's, or the blocks of its compression. They are straight, evenly spaced and even all
// over, as nothing on a face is.
#pragma once

#include "endgrade/flatten.h"

#include <optional>

namespace endgrade {

// background x (cosine x cos(phase) + sine x sin(phase)), phase = wave . (cell - centre_cell)
struct Fringes {
  cv::Point2d wave;  // radians a cell
  double cosine = 0;
  double sine = 0;
};

// Looks on the glass, where the face itself is smoothest. Nothing where no single wave stands far
// out of the others as long as it, where it is not the same in nearly every direction from the
// centre, or where it is stronger than a camera's (3 % of the brightness).
//
//   map   residual, background, rings and noise filled
[[nodiscard]] std::optional<Fringes> FindFringes(const ContrastMap& map);

// Moves them from the residual to the background.
void TakeOffFringes(const Fringes& fringes, ContrastMap* map);

}  // namespace endgrade
