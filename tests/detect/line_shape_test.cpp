#include "detect/line_shape.h"

#include "detect/line_profile.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

// Whether a line from one point to the other, as the face shows it, is one spot.
bool IsOneSpotOn(const test::DrawnFace& face, cv::Point2d from_um, cv::Point2d to_um) {
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  const cv::Matx22d cell_from_um = map.um_from_cell.inv();
  const auto cell_at = [&](cv::Point2d um) {
    const cv::Vec2d off = cell_from_um * cv::Vec2d(um.x, um.y);
    return map.centre_cell + cv::Point2d(off[0], off[1]);
  };
  const std::vector<cv::Point2d> spine = {cell_at(from_um), cell_at(to_um)};
  LineProfile profile = MeasureProfile(map.residual, spine, BlurOfLines(map), ReachAcross(map));
  // As of a particle whose rim and middle are taken for the two sides of a scratch.
  profile.amplitude = -profile.right_amplitude;
  profile.width_cells = profile.bar_cells = 3.0 / map.um_per_cell;
  return IsOneSpot(map, map.residual, spine, profile);
}

TEST(IsOneSpot, IsAParticleWithBlankGlassBesideIt) {
  test::DrawnFace face;
  face.discs = {{{-30, 20}, 7.0, -0.3}};
  EXPECT_TRUE(IsOneSpotOn(face, {-34, 20}, {-14, 20}));
}

TEST(IsOneSpot, IsNoScratchWholeInDashesOrWithASpeckOnIt) {
  test::DrawnFace face;
  face.lines = {{{-34, 20}, {-14, 20}, 1.5, -0.3}};
  EXPECT_FALSE(IsOneSpotOn(face, {-34, 20}, {-14, 20}));
  face.discs = {{{-24, 20}, 4.0, -0.5}};
  EXPECT_FALSE(IsOneSpotOn(face, {-34, 20}, {-14, 20}));
  face.discs.clear();
  face.lines = {{{-34, 20}, {-29, 20}, 1.5, -0.3}, {{-20, 20}, {-14, 20}, 1.5, -0.3}};
  EXPECT_FALSE(IsOneSpotOn(face, {-34, 20}, {-14, 20}));
}

// One longer than any particle is told by other means.
TEST(IsOneSpot, IsNotAskedOfLongLines) {
  test::DrawnFace face;
  face.discs = {{{-30, 20}, 7.0, -0.3}};
  EXPECT_FALSE(IsOneSpotOn(face, {-34, 20}, {14, 20}));
}

}  // namespace
}  // namespace endgrade
