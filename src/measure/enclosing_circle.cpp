#include "measure/enclosing_circle.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kSlack = 1e-9;  // relative: a point on the circle counts as inside

bool Holds(const EnclosingCircle& circle, cv::Point2d p) {
  const double distance = std::hypot(p.x - circle.centre.x, p.y - circle.centre.y);
  return 2.0 * distance <= circle.diameter * (1.0 + kSlack) + kSlack;
}

EnclosingCircle OnTwo(cv::Point2d a, cv::Point2d b) {
  return {(a + b) * 0.5, std::hypot(a.x - b.x, a.y - b.y)};
}

EnclosingCircle OnThree(cv::Point2d a, cv::Point2d b, cv::Point2d c) {
  const cv::Point2d u = b - a;
  const cv::Point2d v = c - a;
  const double cross = 2.0 * (u.x * v.y - u.y * v.x);
  if (std::abs(cross) < 1e-12) {  // in a line: the two that are furthest apart
    EnclosingCircle best = OnTwo(a, b);
    for (const EnclosingCircle& other : {OnTwo(a, c), OnTwo(b, c)}) {
      if (other.diameter > best.diameter) best = other;
    }
    return best;
  }
  const double uu = u.dot(u);
  const double vv = v.dot(v);
  const cv::Point2d offset((v.y * uu - u.y * vv) / cross, (u.x * vv - v.x * uu) / cross);
  return {a + offset, 2.0 * std::hypot(offset.x, offset.y)};
}

double Cross(cv::Point2d o, cv::Point2d a, cv::Point2d b) {
  return (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
}

}  // namespace

std::vector<cv::Point2d> ConvexHull(std::vector<cv::Point2d> points) {
  const auto before = [](cv::Point2d a, cv::Point2d b) {
    return a.x != b.x ? a.x < b.x : a.y < b.y;
  };
  std::sort(points.begin(), points.end(), before);
  points.erase(std::unique(points.begin(), points.end()), points.end());
  if (points.size() < 3) return points;
  std::vector<cv::Point2d> hull;
  for (int side = 0; side < 2; ++side) {
    const size_t start = hull.size();
    for (const cv::Point2d& p : points) {
      while (hull.size() >= start + 2 && Cross(hull[hull.size() - 2], hull.back(), p) <= 0) {
        hull.pop_back();
      }
      hull.push_back(p);
    }
    hull.pop_back();
    std::reverse(points.begin(), points.end());
  }
  return hull;
}

EnclosingCircle FitEnclosingCircle(const std::vector<cv::Point2d>& points) {
  return EncloseHull(ConvexHull(points));
}

EnclosingCircle EncloseHull(const std::vector<cv::Point2d>& hull) {
  EnclosingCircle circle;
  if (hull.empty()) return circle;
  circle.centre = hull.front();
  for (size_t i = 1; i < hull.size(); ++i) {
    if (Holds(circle, hull[i])) continue;
    circle = {hull[i], 0};
    for (size_t j = 0; j < i; ++j) {
      if (Holds(circle, hull[j])) continue;
      circle = OnTwo(hull[i], hull[j]);
      for (size_t k = 0; k < j; ++k) {
        if (!Holds(circle, hull[k])) circle = OnThree(hull[i], hull[j], hull[k]);
      }
    }
  }
  return circle;
}

}  // namespace endgrade
