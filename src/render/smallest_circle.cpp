#include "render/random.h"
#include "render/shape.h"

#include <cmath>
#include <utility>

namespace endgrade::render {
namespace {

constexpr double kSlack_um = 1e-9;

bool Inside(const Circle& circle, cv::Point2d p) {
  return std::hypot(p.x - circle.centre.x, p.y - circle.centre.y) <= circle.radius + kSlack_um;
}

Circle Through(cv::Point2d a, cv::Point2d b) {
  return {(a + b) * 0.5, 0.5 * std::hypot(a.x - b.x, a.y - b.y)};
}

// Circumscribed circle; of three points in a line the longest pair's.
Circle Through(cv::Point2d a, cv::Point2d b, cv::Point2d c) {
  const cv::Point2d ab = b - a;
  const cv::Point2d ac = c - a;
  const double cross = 2 * (ab.x * ac.y - ab.y * ac.x);
  if (std::abs(cross) < 1e-12) {
    Circle widest = Through(a, b);
    for (const Circle& other : {Through(a, c), Through(b, c)}) {
      if (other.radius > widest.radius) widest = other;
    }
    return widest;
  }
  const double b2 = ab.dot(ab);
  const double c2 = ac.dot(ac);
  const cv::Point2d d((ac.y * b2 - ab.y * c2) / cross, (ab.x * c2 - ac.x * b2) / cross);
  return {a + d, std::hypot(d.x, d.y)};
}

}  // namespace

Circle SmallestCircle(std::vector<cv::Point2d> points) {
  Random random(1);
  for (size_t i = points.size(); i > 1; --i) {
    std::swap(points[i - 1], points[static_cast<size_t>(random.Int(0, static_cast<int>(i) - 1))]);
  }
  Circle circle{points.empty() ? cv::Point2d() : points[0], 0};
  for (size_t i = 1; i < points.size(); ++i) {
    if (Inside(circle, points[i])) continue;
    circle = {points[i], 0};
    for (size_t j = 0; j < i; ++j) {
      if (Inside(circle, points[j])) continue;
      circle = Through(points[i], points[j]);
      for (size_t k = 0; k < j; ++k) {
        if (!Inside(circle, points[k])) circle = Through(points[i], points[j], points[k]);
      }
    }
  }
  return circle;
}

}  // namespace endgrade::render
