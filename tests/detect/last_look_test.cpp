#include "detect/last_look.h"

#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>

#include <cmath>

namespace endgrade {
namespace {

ContrastMap MapOf(const test::DrawnFace& face) {
  return test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
}

// A region that holds what lies within `reach_um` of the stretch between two points.
Region Held(const ContrastMap& map, cv::Point2d from_um, cv::Point2d to_um, double reach_um) {
  Region region;
  const cv::Matx22d cell_from_um = map.um_from_cell.inv();
  const auto cell_at = [&](cv::Point2d um) {
    const cv::Vec2d off = cell_from_um * cv::Vec2d(um.x, um.y);
    return map.centre_cell + cv::Point2d(off[0], off[1]);
  };
  const cv::Point2d from = cell_at(from_um);
  const cv::Point2d along = cell_at(to_um) - from;
  const double length_2 = std::max(1e-9, along.dot(along));
  for (int y = 0; y < map.level.rows; ++y) {
    for (int x = 0; x < map.level.cols; ++x) {
      const cv::Point2d off = cv::Point2d(x, y) - from;
      const double share = std::clamp(off.dot(along) / length_2, 0.0, 1.0);
      const cv::Point2d beside = off - along * share;
      if (std::hypot(beside.x, beside.y) * map.um_per_cell <= reach_um) {
        region.cells.emplace_back(x, y);
      }
    }
  }
  return region;
}

TEST(LookOnceMore, SeesNothingOnCleanFaces) {
  for (std::uint64_t seed = 21; seed < 41; ++seed) {
    test::DrawnFace face;
    face.seed = seed;
    face.tilt_of_light = seed % 2 == 0 ? 0.1 : 0.5;
    face.grain = seed % 3 == 0 ? 9.0 : 3.0;
    face.core_radius_um = seed % 4 == 0 ? 25.0 : 4.5;
    EXPECT_TRUE(LookOnceMore(MapOf(face), {}).empty()) << seed;
  }
}

TEST(LookOnceMore, SeesWhatIsPlainOnEachMaterialAndMeasuresIt) {
  test::DrawnFace face;
  face.core_radius_um = 25.0;
  face.discs = {{{5, 8}, 5.0, -0.4}, {{-40, 20}, 4.0, 0.4}, {{10, 95}, 8.0, -0.4}};
  const ContrastMap map = MapOf(face);
  const auto found = LookOnceMore(map, {});
  ASSERT_EQ(found.size(), 3U);
  for (const test::DrawnDisc& disc : face.discs) {
    const bool seen = std::any_of(found.begin(), found.end(), [&](const Region& region) {
      const cv::Vec2d um = map.um_from_cell * cv::Vec2d(region.peak.x - map.centre_cell.x,
                                                        region.peak.y - map.centre_cell.y);
      const double across =
          std::sqrt(4.0 * static_cast<double>(region.cells.size()) / CV_PI) * map.um_per_cell;
      return std::hypot(um[0] - disc.centre_um.x, um[1] - disc.centre_um.y) <
                 0.5 * disc.diameter_um &&
             std::abs(across - disc.diameter_um) < 1.5 && (region.depth < 0) == (disc.contrast < 0);
    });
    EXPECT_TRUE(seen) << disc.diameter_um;
  }
}

// Faint in each place, plain to the eye: 8 % of the light over 18 um, in a dim picture's grain.
TEST(LookOnceMore, SeesAFaintStain) {
  test::DrawnFace face;
  face.glass = 60;
  face.ferrule = 40;
  face.core = 70;
  face.grain = 0.7;
  face.noise = 0.6;
  face.discs = {{{20, 100}, 18.0, -0.08}, {{-30, -15}, 14.0, 0.08}};
  const auto found = LookOnceMore(MapOf(face), {});
  EXPECT_EQ(found.size(), 2U);
  face.discs = {{{20, 100}, 18.0, -0.03}, {{-30, -15}, 14.0, 0.03}};
  EXPECT_TRUE(LookOnceMore(MapOf(face), {}).empty());
}

TEST(LookOnceMore, LeavesWhatIsOutlinedAndItsBorderAlone) {
  test::DrawnFace face;
  face.discs = {{{-30, 20}, 9.0, -0.4}};
  const ContrastMap map = MapOf(face);
  EXPECT_EQ(LookOnceMore(map, {}).size(), 1U);
  EXPECT_TRUE(LookOnceMore(map, {Held(map, {-30, 20}, {-30, 20}, 4.5)}).empty());
  EXPECT_TRUE(LookOnceMore(map, {Held(map, {-30, 20}, {-30, 20}, 3.0)}).empty());
}

TEST(LookOnceMore, SeesAScratchOfWhichOnlyAPartIsOutlinedButNotTheEndOfALine) {
  test::DrawnFace face;
  face.lines = {{{-50, 20}, {50, 20}, 5.0, -0.4}};
  const ContrastMap map = MapOf(face);
  EXPECT_EQ(LookOnceMore(map, {Held(map, {-50, 20}, {0, 20}, 3.0)}).size(), 1U);
  Region line = Held(map, {-50, 20}, {44, 20}, 3.0);
  line.is_line = true;
  EXPECT_TRUE(LookOnceMore(map, {line}).empty());
}

// Of the outermost rings only two ends are in the picture, one in the light and one in the shade.
TEST(LookOnceMore, SeesNothingWhereOnlyTwoEndsOfARingAreInView) {
  for (std::uint64_t seed = 1; seed < 9; ++seed) {
    test::DrawnFace face;
    face.seed = seed;
    face.size = {640, 480};
    face.um_per_px = 0.39 + 0.005 * static_cast<double>(seed);
    face.tilt_of_light = 0.6;
    face.grain = 1.0;
    EXPECT_TRUE(LookOnceMore(MapOf(face), {}).empty()) << seed;
  }
}

TEST(LookOnceMore, AHotPixelIsNoDirt) {
  for (const double um_per_px : {0.4, 1.0}) {
    test::DrawnFace face;
    face.um_per_px = um_per_px;
    if (um_per_px > 0.9) face.size = {320, 320};
    test::Drawn drawn = test::Draw(face);
    const cv::Point2d at = drawn.scale.ToPx({-30, 20});
    const cv::Point px(cvRound(at.x), cvRound(at.y));
    drawn.frame.luma.at<std::uint8_t>(px) = 255;
    EXPECT_TRUE(LookOnceMore(test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc")), {}).empty());
  }
}

}  // namespace
}  // namespace endgrade
