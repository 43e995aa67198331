#include "detect/bent_strokes.h"

#include "detect/sharpening.h"
#include "endgrade/measure.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

struct Found {
  std::vector<Region> strokes;
  std::vector<Feature> features;
};

Found Search(const test::DrawnFace& face) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const test::Drawn drawn = test::Draw(face);
  const ContrastMap map = test::FlattenDrawn(drawn, limits);
  cv::Mat residual = map.residual;
  Found found;
  found.strokes = TakeOutBentStrokes(map, FringeShare(map), &residual);
  EXPECT_EQ(residual.data == map.residual.data, found.strokes.empty());
  found.features =
      MeasureFeatures(drawn.frame, map, drawn.scale, limits, DetectRegions(map).regions);
  return found;
}

// Straight pieces from point to point.
std::vector<test::DrawnLine> Stroke(const std::vector<cv::Point2d>& points,
                                    double width_um,
                                    double contrast) {
  std::vector<test::DrawnLine> pieces;
  for (size_t i = 1; i < points.size(); ++i) {
    pieces.push_back({points[i - 1], points[i], width_um, contrast});
  }
  return pieces;
}

TEST(TakeOutBentStrokes, TakesACrackWhole) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = Stroke({{-35, 12}, {-12, 20}, {6, 8}, {35, 16}}, 1.2, -0.5);
  const Found found = Search(face);
  EXPECT_EQ(found.strokes.size(), 1U);
  ASSERT_EQ(found.features.size(), 1U);
  EXPECT_EQ(found.features[0].kind, FeatureKind::kDefect);
  EXPECT_NEAR(found.features[0].size_um, 70.0, 4.0);
}

// Where two cross at a small angle they lie on one another for a while, and the way through both
// wanders from the one to the other: no crack, for it ends in line with its beginning.
TEST(TakeOutBentStrokes, LeavesAScratchThatAnotherCrossesAtASmallAngle) {
  for (const double degrees : {10.0, 12.0, 14.0}) {
    const double slope = 0.168 - std::tan(degrees * CV_PI / 180.0);
    test::DrawnFace face;
    face.core_radius_um = 0;
    face.um_per_px = 0.46;
    face.blur_um = 0.7;
    face.lines = {{{-60, -41.5}, {32, -26}, 1.8, 0.4},
                  {{-43, -33.5 - 29.7 * slope}, {7, -33.5 + 20.3 * slope}, 1.5, 0.4}};
    const Found found = Search(face);
    EXPECT_TRUE(found.strokes.empty()) << degrees;
    for (const Feature& f : found.features) {
      EXPECT_EQ(f.kind, FeatureKind::kScratch) << degrees << ": " << f.size_um;
    }
  }
}

// A crack's legs are not all equally open, and many scratches do not meet end to end by chance; two
// bent ones may, at a sharp angle.
TEST(TakeOutBentStrokes, TakesACrackOfManyLegsThoughTheyDiffer) {
  const std::vector<cv::Point2d> points = {
      {-42, 6}, {-33, 12}, {-22, 9}, {-12, 17}, {0, 15}, {10, 22}, {22, 19}};
  const std::vector<double> contrasts = {-0.25, -0.5, -0.35, -0.55, -0.3, -0.5};
  test::DrawnFace crack;
  crack.core_radius_um = 0;
  for (size_t i = 0; i < contrasts.size(); ++i) {
    crack.lines.push_back({points[i], points[i + 1], 1.2, contrasts[i]});
  }
  EXPECT_EQ(Search(crack).strokes.size(), 1U);

  test::DrawnFace meeting;
  meeting.core_radius_um = 0;
  for (const double side : {-1.0, 1.0}) {
    std::vector<cv::Point2d> arc;
    for (double angle = 0.0; angle <= 0.701; angle += 0.05) {
      arc.emplace_back(-30 + 70 * std::sin(angle),
                       side * 70 * (1 - std::cos(angle) + 0.35 * angle));
    }
    for (const auto& piece : Stroke(arc, 1.2, side < 0 ? -0.25 : -0.55)) {
      meeting.lines.push_back(piece);
    }
  }
  EXPECT_TRUE(Search(meeting).strokes.empty());
}

size_t NumScratches(const Found& found) {
  return static_cast<size_t>(
      std::count_if(found.features.begin(), found.features.end(), [](const Feature& f) {
        return f.kind == FeatureKind::kScratch;
      }));
}

double LargestDefect(const Found& found) {
  double largest = 0;
  for (const Feature& f : found.features) {
    if (f.kind == FeatureKind::kDefect) largest = std::max(largest, f.size_um);
  }
  return largest;
}

// A bright middle between dark flanks. By itself each piece would be a wide scratch, or two.
TEST(TakeOutBentStrokes, TakesAHairWithItsFlanksAcrossTheRim) {
  const std::vector<cv::Point2d> bent = {{5, 20}, {28, 22}, {40, 38}, {58, 48}, {66, 76}};
  const std::vector<cv::Point2d> straight = {{0, -20}, {40, -85}};
  for (const auto& points : {bent, straight}) {
    test::DrawnFace face;
    face.core_radius_um = 0;
    face.lines = Stroke(points, 7.0, -0.45);
    for (const test::DrawnLine& middle : Stroke(points, 3.0, 1.6)) face.lines.push_back(middle);
    const Found found = Search(face);
    const cv::Point2d run = points.back() - points.front();
    EXPECT_NEAR(LargestDefect(found), std::hypot(run.x, run.y) + 7.0, 12.0);
    EXPECT_EQ(NumScratches(found), 0U);
  }
}

TEST(TakeOutBentStrokes, LeavesScratchesThatBendOrCrossNearTheirEnds) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = {{{-45, 25}, {20, 25}, 1.2, -0.4}, {{6, 16}, {40, 41}, 1.2, -0.4}};
  EXPECT_TRUE(Search(face).strokes.empty());

  std::vector<cv::Point2d> arc;
  for (double angle = -0.35; angle <= 0.351; angle += 0.05) {
    arc.emplace_back(110 * std::sin(angle), 120 - 110 * std::cos(angle));
  }
  test::DrawnFace bent;
  bent.core_radius_um = 0;
  bent.lines = Stroke(arc, 1.2, -0.4);
  EXPECT_TRUE(Search(bent).strokes.empty());
}

// Cut at the rim, a straight scratch is still a scratch; so is one that specks lie on.
TEST(TakeOutBentStrokes, LeavesAStraightScratchThatIsStrong) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = {{{-30, -80}, {40, 90}, 3.0, -0.6}};
  face.discs = {{{0, -7}, 4.0, -0.6}, {{12, 22}, 3.0, 0.8}};
  EXPECT_TRUE(Search(face).strokes.empty());
}

}  // namespace
}  // namespace endgrade
