#include "endgrade/flatten.h"

#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

double MeanResidual(const ContrastMap& map, cv::Point2d um, double radius_um) {
  double sum = 0;
  int count = 0;
  for (int y = 0; y < map.residual.rows; ++y) {
    for (int x = 0; x < map.residual.cols; ++x) {
      const cv::Vec2d at =
          map.um_from_cell * cv::Vec2d(x - map.centre_cell.x, y - map.centre_cell.y);
      if (std::hypot(at[0] - um.x, at[1] - um.y) > radius_um) continue;
      sum += static_cast<double>(map.residual.at<float>(y, x));
      ++count;
    }
  }
  return sum / count;
}

TEST(Flatten, LeavesOnlyTheNoiseOfACleanFace) {
  const test::DrawnFace face;
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  // Rounding to whole grey levels adds 1/12 to the variance.
  EXPECT_NEAR(map.glass_noise, std::hypot(face.noise, 0.289), 0.1);
  for (const double x : {-45.0, -20.0, 15.0, 40.0}) {
    EXPECT_NEAR(MeanResidual(map, {x, 10.0}, 6.0), 0.0, 0.4) << x;
  }
}

TEST(Flatten, DoesNotTakeAParticleOnTheCentreForTheFace) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.discs = {{{0, 0}, 8.0, -0.4}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {0, 0}, 2.5), -0.3 * face.glass);
}

TEST(Flatten, DoesNotTakeARingAroundTheCentreForTheFace) {
  test::DrawnFace face;
  face.rings = {{30.0, 4.0, -0.2}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {30.0, 0}, 1.0), -0.12 * face.glass);
}

TEST(Flatten, FindsAPitInTheMiddleOfALitCore) {
  test::DrawnFace face;
  face.core = 200;
  face.discs = {{{0, 0}, 2.0, -0.5}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {0, 0}, 0.6), -20.0);
}

TEST(Flatten, PlacesCellsWhereTheirPixelsAre) {
  ContrastMap map;
  map.roi_px = {10, 20, 30, 30};
  map.cell_px = 3;
  EXPECT_EQ(map.PxFromCell({0, 0}), cv::Point2d(11, 21));  // the middle of pixels 10 to 12
  EXPECT_EQ(map.CellFromPx({11, 21}), cv::Point2d(0, 0));
}

}  // namespace
}  // namespace endgrade
