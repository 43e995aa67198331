#include "measure/speck_blur.h"

#include "endgrade/detect.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

test::DrawnFace FaceWithSpecks(double diameter_um, double blur_um) {
  test::DrawnFace face;
  face.size = {1300, 1300};
  face.um_per_px = 0.25;
  face.blur_um = blur_um;
  face.noise = 1.0;
  face.core_radius_um = 0;
  for (const double x : {-40.0, -20.0, 0.0, 20.0, 40.0}) {
    face.discs.push_back({{x, 15.0}, diameter_um, -0.5});
  }
  return face;
}

TEST(BlurBySpecks, IsTheBlurThatResolvedSpecksHave) {
  for (const double blur_um : {0.6, 0.8, 1.0}) {  // of cells of 0.25 um
    const test::Drawn drawn = test::Draw(FaceWithSpecks(5.0 * blur_um + 1.0, blur_um));
    const ContrastMap map = test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc"));
    const auto sigma = BlurBySpecks(map, DetectRegions(map).regions);
    ASSERT_TRUE(sigma) << blur_um;
    EXPECT_NEAR(*sigma * map.um_per_cell, blur_um, 0.2 * blur_um);
  }
}

// Points show the blur, too, but their width and slope tell nothing apart.
TEST(BlurBySpecks, IsNotToldByUnresolvedSpecks) {
  const test::Drawn drawn = test::Draw(FaceWithSpecks(1.2, 0.8));
  const ContrastMap map = test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc"));
  EXPECT_FALSE(BlurBySpecks(map, DetectRegions(map).regions));
}

// A rim that is softer than the lens: specks of 3 um are not points.
TEST(MeasureFeatures, BelievesSpecksAgainstASoftRim) {
  test::Drawn drawn = test::Draw(FaceWithSpecks(3.2, 0.5));
  drawn.fibre.blur_sigma_px *= 2.2;
  const Limits limits = test::ShippedLimits("sm-upc");
  const ContrastMap map = test::FlattenDrawn(drawn, limits);
  const std::vector<Feature> features =
      MeasureFeatures(drawn.frame, map, drawn.scale, limits, DetectRegions(map).regions);
  ASSERT_EQ(features.size(), 5U);
  for (const Feature& f : features) EXPECT_NEAR(f.size_um, 3.2, 0.6);
}

}  // namespace
}  // namespace endgrade
