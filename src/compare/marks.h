// Rotation from marks that both pictures show: features as a constellation.
#pragma once

#include "endgrade/compare.h"

#include <cstddef>
#include <utility>
#include <vector>

namespace endgrade::compare {

// A feature as something that can tell a rotation. Compact ones lie at an angle and a distance from
// the centre; long ones have the angle and the distance of the foot of their perpendicular, because
// where a scratch ends is seen differently each time.
struct Mark {
  std::size_t feature = 0;  // index
  bool is_line = false;
  bool dark = true;
  double size_um = 0;    // enclosing diameter of a compact one, length of a line
  double radius_um = 0;  // distance from the cladding's centre
  double angle = 0;      // radians
  double radius_sigma_um = 1;
  double angle_sigma = 0.01;
  double um_per_px = 0.5;
  cv::Point2d at_px;
};

// Largest first, pieces of one thing once. A mark too near the centre tells no angle and is left
// out.
[[nodiscard]] std::vector<Mark> MarksOf(const FibreGrade& fibre);

// By rotation, kNumAngles of them: natural logarithm of how much likelier it is that marks of
// `after` lie where those of `before` would be turned to than by chance. 0: no evidence at all.
//
//   leave_out_fixed   pairs at one and the same pixel are left out: they may be the camera's own
[[nodiscard]] std::vector<double> ScoreMarks(const std::vector<Mark>& before,
                                             const std::vector<Mark>& after,
                                             bool mirrored,
                                             bool leave_out_fixed);

// Pairs (index in before, index in after) that agree with a rotation, each mark once.
[[nodiscard]] std::vector<std::pair<std::size_t, std::size_t>> CommonMarks(
    const std::vector<Mark>& before,
    const std::vector<Mark>& after,
    double rotation,
    bool mirrored,
    bool leave_out_fixed);

// Whether two marks lie at the same pixel, within one.
[[nodiscard]] bool AtSamePixel(const Mark& a, const Mark& b);

}  // namespace endgrade::compare
