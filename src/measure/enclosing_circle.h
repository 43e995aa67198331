// Smallest circle that encloses a set of points; its diameter is a defect's size (IEC 61300-3-35:
// see zones/ for clause and certainty).
#pragma once

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

struct EnclosingCircle {
  cv::Point2d centre;
  double diameter = 0;
};

//   points    any unit; none gives diameter 0 at the origin
//   method    Welzl 1991, iterative form, over the convex hull; O(N log N); the order of the points
//             does not matter. Slow check in tests/support.
[[nodiscard]] EnclosingCircle FitEnclosingCircle(const std::vector<cv::Point2d>& points);

// The same of points that are a convex hull already.
[[nodiscard]] EnclosingCircle EncloseHull(const std::vector<cv::Point2d>& hull);

// The convex hull, counter-clockwise in a y-up frame, without repeated points (Andrew 1979).
[[nodiscard]] std::vector<cv::Point2d> ConvexHull(std::vector<cv::Point2d> points);

}  // namespace endgrade
