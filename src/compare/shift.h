// What the claddings leave of a shift between two faces, from the grain around them.
#pragma once

#include "endgrade/compare.h"

#include <opencv2/core.hpp>

#include <optional>

namespace endgrade::compare {

struct GrainShift {
  cv::Point2d shift_um;  // of after against before, once before is turned
  double sigma = 0;      // peak over the spread of the correlation
};

// Phase correlation in the plane (Kuglin and Hines 1975) of both ferrules, before turned by
// `registration`, within a few micrometres; nothing where no peak stands out.
[[nodiscard]] std::optional<GrainShift> FindShift(const Attempt& before,
                                                  const Attempt& after,
                                                  const Registration& registration);

}  // namespace endgrade::compare
