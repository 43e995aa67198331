// Moves the spine of a wide line onto its middle.
#pragma once

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// A wide line is flat across: what follows its brightness may run along either flank, or change
// from one to the other, and its profile along such a spine is too narrow. Half-way between the
// places at which it crosses half of its height, left and right, is its middle.
//
//   residual      the flattened picture
//   peak          the line's height, signed
//   width_cells   about the line's width
//   reach_cells   how far from the spine its top is looked for; its flanks twice as far
//   returns       whether the spine has been moved; not where the line shows in less than 3/4 of
//   its
//                 length, for what is not one bar has no middle
[[nodiscard]] bool MoveToMiddleOfBar(const cv::Mat& residual,
                                     double peak,
                                     double width_cells,
                                     double reach_cells,
                                     std::vector<cv::Point2d>* spine);

}  // namespace endgrade
