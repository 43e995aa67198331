#include "measure/enclosing_circle.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace endgrade {
namespace {

// The slow obvious version: the smallest of all circles on two or three points that holds them all.
double SmallestByTrial(const std::vector<cv::Point2d>& points) {
  double best = 1e300;
  const auto holds_all = [&](cv::Point2d centre, double radius) {
    for (const cv::Point2d& p : points) {
      if (std::hypot(p.x - centre.x, p.y - centre.y) > radius * (1 + 1e-9)) return false;
    }
    return true;
  };
  for (size_t i = 0; i < points.size(); ++i) {
    for (size_t j = i + 1; j < points.size(); ++j) {
      const cv::Point2d middle = (points[i] + points[j]) * 0.5;
      const double radius = 0.5 * std::hypot(points[i].x - points[j].x, points[i].y - points[j].y);
      if (holds_all(middle, radius)) best = std::min(best, 2 * radius);
      for (size_t k = j + 1; k < points.size(); ++k) {
        const cv::Point2d b = points[j] - points[i];
        const cv::Point2d c = points[k] - points[i];
        const double d = 2 * (b.x * c.y - b.y * c.x);
        if (std::abs(d) < 1e-12) continue;
        const cv::Point2d o((c.y * b.dot(b) - b.y * c.dot(c)) / d,
                            (b.x * c.dot(c) - c.x * b.dot(b)) / d);
        if (holds_all(points[i] + o, std::hypot(o.x, o.y))) {
          best = std::min(best, 2 * std::hypot(o.x, o.y));
        }
      }
    }
  }
  return best;
}

TEST(FitEnclosingCircle, OfNothingAndOfOnePointIsAPoint) {
  EXPECT_EQ(FitEnclosingCircle({}).diameter, 0.0);
  EXPECT_EQ(FitEnclosingCircle({{3, 4}}).diameter, 0.0);
  EXPECT_EQ(FitEnclosingCircle({{3, 4}}).centre, cv::Point2d(3, 4));
}

TEST(FitEnclosingCircle, OfTwoPointsHasTheirDistanceForDiameter) {
  EXPECT_DOUBLE_EQ(FitEnclosingCircle({{0, 0}, {3, 4}}).diameter, 5.0);
}

TEST(FitEnclosingCircle, OfARightTriangleIsOnItsHypotenuse) {
  EXPECT_NEAR(FitEnclosingCircle({{0, 0}, {6, 0}, {0, 8}}).diameter, 10.0, 1e-9);
}

TEST(FitEnclosingCircle, OfASquareIsItsDiagonal) {
  EXPECT_NEAR(FitEnclosingCircle({{0, 0}, {1, 0}, {1, 1}, {0, 1}, {0.5, 0.5}}).diameter,
              std::sqrt(2.0),
              1e-9);
}

TEST(FitEnclosingCircle, OfPointsInARowIsTheirExtent) {
  EXPECT_NEAR(FitEnclosingCircle({{0, 0}, {1, 1}, {2, 2}, {5, 5}}).diameter, std::sqrt(50.0), 1e-9);
}

TEST(FitEnclosingCircle, AgreesWithTryingEveryCircle) {
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  for (int round = 0; round < 200; ++round) {
    std::vector<cv::Point2d> points;
    for (int i = 0; i < 3 + round % 12; ++i) points.emplace_back(normal(random), normal(random));
    EXPECT_NEAR(FitEnclosingCircle(points).diameter, SmallestByTrial(points), 1e-7);
  }
}

}  // namespace
}  // namespace endgrade
