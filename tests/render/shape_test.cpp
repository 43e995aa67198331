#include "render/shape.h"

#include "render/random.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

// An outline of straight chords between 720 directions misses a disc by less than this.
constexpr double kOutlineError_um = 1e-3;

// A line's round ends are chords between 48 directions: 1 - cos(pi / 48) of half its width, twice.
double EndError(double width_um) { return width_um * (1 - std::cos(std::numbers::pi / 48)); }

double EnclosingDiameter(const SceneFeature& feature) {
  return 2 * SmallestCircle(MakeShape(feature, {})->Outline()).radius;
}

TEST(SmallestCircle, OfAnEquilateralTriangleIsItsCircumscribedCircle) {
  const double h = std::sqrt(3.0) / 2;
  const Circle circle = SmallestCircle({{0, 0}, {1, 0}, {0.5, h}});
  EXPECT_NEAR(circle.radius, 1 / std::sqrt(3.0), 1e-12);
  EXPECT_NEAR(circle.centre.y, h / 3, 1e-12);
}

TEST(SmallestCircle, OfAnObtuseTriangleStandsOnItsLongestSide) {
  const Circle circle = SmallestCircle({{0, 0}, {10, 0}, {4, 1}});
  EXPECT_NEAR(circle.radius, 5, 1e-12);
}

// Slow check: the least circle is one of those through two or three of the points.
TEST(SmallestCircle, AgreesWithTryingAllPairsAndTriples) {
  Random random(3);
  for (int round = 0; round < 20; ++round) {
    std::vector<cv::Point2d> points;
    for (int i = 0; i < 12; ++i) points.emplace_back(random.Normal(), random.Normal());
    double best = 1e9;
    const auto encloses_all = [&](const Circle& circle) {
      for (const auto& p : points) {
        if (cv::norm(p - circle.centre) > circle.radius + 1e-9) return false;
      }
      return true;
    };
    for (size_t i = 0; i < points.size(); ++i) {
      for (size_t j = i + 1; j < points.size(); ++j) {
        const Circle pair{(points[i] + points[j]) * 0.5, cv::norm(points[i] - points[j]) / 2};
        if (encloses_all(pair)) best = std::min(best, pair.radius);
        for (size_t k = j + 1; k < points.size(); ++k) {
          const Circle triple = SmallestCircle({points[i], points[j], points[k]});
          if (encloses_all(triple)) best = std::min(best, triple.radius);
        }
      }
    }
    EXPECT_NEAR(SmallestCircle(points).radius, best, 1e-9);
  }
}

TEST(Shape, RoundSpeckIsEnclosedByItsOwnDiameter) {
  SceneFeature f;
  f.diameter_um = 7;
  EXPECT_NEAR(EnclosingDiameter(f), 7, kOutlineError_um);
}

// An ellipse of the disc's area: its long axis is the diameter times the root of its elongation.
TEST(Shape, ElongatedSpeckIsEnclosedByItsLongAxis) {
  SceneFeature f;
  f.diameter_um = 6;
  f.elongation = 2.25;
  f.angle_deg = 33;
  EXPECT_NEAR(EnclosingDiameter(f), 6 * 1.5, kOutlineError_um);
}

TEST(Shape, StraightScratchIsEnclosedByLengthPlusWidth) {
  SceneFeature f;
  f.shape = FeatureShape::kScratch;
  f.length_um = 80;
  f.width_um = 2;
  f.angle_deg = 20;
  EXPECT_NEAR(EnclosingDiameter(f), 82, EndError(2));
}

// An arc of curvature 1/100 and length 60 spans a chord of 2 * 100 * sin(0.3).
TEST(Shape, BentScratchSpansItsChord) {
  SceneFeature f;
  f.shape = FeatureShape::kScratch;
  f.length_um = 60;
  f.width_um = 1;
  f.bend_per_um = 0.01;
  EXPECT_NEAR(EnclosingDiameter(f), 200 * std::sin(0.3) + 1, 0.01);
}

TEST(Shape, ScratchPassesTheCentreAtItsDistanceLessHalfItsWidth) {
  SceneFeature f;
  f.shape = FeatureShape::kScratch;
  f.length_um = 100;
  f.width_um = 3;
  f.angle_deg = 90;
  f.centre_um = {20, 10};
  EXPECT_NEAR(MakeShape(f, {})->RadiusInner(), 18.5, 1e-9);
}

TEST(Shape, DiscThatCoversTheCentreTouchesIt) {
  SceneFeature f;
  f.diameter_um = 10;
  f.centre_um = {4.9, 0};
  EXPECT_EQ(MakeShape(f, {})->RadiusInner(), 0);
  f.centre_um = {6, 0};
  EXPECT_NEAR(MakeShape(f, {})->RadiusInner(), 1, kOutlineError_um);
}

TEST(Shape, ChipEndsAtTheRim) {
  SceneFeature f;
  f.shape = FeatureShape::kChip;
  f.diameter_um = 12;
  f.centre_um = {62.5, 0};
  double farthest = 0;
  for (const auto& p : MakeShape(f, {})->Outline()) farthest = std::max(farthest, cv::norm(p));
  EXPECT_NEAR(farthest, 62.5, 1e-9);
  EXPECT_NEAR(MakeShape(f, {})->RadiusInner(), 56.5, kOutlineError_um);
}

// What is painted covers the shape's area: pi r^2 of a disc, length x width and round ends of a
// line, whatever the cells.
TEST(Shape, PaintedCoverAddsUpToTheArea) {
  SubGrid grid;
  grid.size = {400, 400};
  grid.centre_px = {200, 200};
  grid.um_from_px = 0.3 * cv::Matx22d::eye();
  grid.cell_um = {0.3, 0.3};
  grid.footprint_um = 0.3;
  const auto area = [&](const SceneFeature& f) {
    cv::Mat contrast = cv::Mat::zeros(grid.size, CV_32FC1);
    cv::Mat cover = cv::Mat::zeros(grid.size, CV_32FC1);
    EXPECT_TRUE(MakeShape(f, {})->Paint(grid, {{0, 0}, grid.size}, contrast, cover));
    return cv::sum(cover)[0] * 0.09;
  };
  SceneFeature disc;
  disc.diameter_um = 8;
  disc.centre_um = {0.11, -0.2};
  EXPECT_NEAR(area(disc), std::numbers::pi * 16, 0.01 * 50);
  SceneFeature line;
  line.shape = FeatureShape::kScratch;
  line.length_um = 50;
  line.width_um = 0.2;  // narrower than a cell
  line.angle_deg = 31;
  EXPECT_NEAR(area(line), 50 * 0.2, 0.02 * 10);
}

}  // namespace
}  // namespace endgrade::render
