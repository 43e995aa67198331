// Every circle in a picture that could be a cladding.
#pragma once

#include "locate/choose_cladding.h"

#include <vector>

namespace endgrade::locate {

// Looks for circles at every size, coarse levels first; levels finer than a few hundred pixels
// across only while nothing convinces. The likeliest first. `least_radius_px`: of the smallest
// circle that is looked for, in pixels of the picture.
[[nodiscard]] std::vector<Cladding> FindCladdings(const cv::Mat& luma,
                                                  double white_level,
                                                  double least_radius_px);

}  // namespace endgrade::locate
