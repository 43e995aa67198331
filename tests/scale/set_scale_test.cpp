#include "endgrade/scale.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

FibreGeometry Cladding(double major_px, double minor_px, double angle_deg) {
  FibreGeometry fibre;
  fibre.cladding = {{100, 80}, major_px, minor_px, angle_deg};
  return fibre;
}

TEST(SetScale, TakesTheCladdingForItsNominal125Micrometres) {
  const auto scale = SetScale(Cladding(250, 250, 0), test::ShippedLimits("sm-upc"));
  ASSERT_TRUE(scale.ok());
  EXPECT_DOUBLE_EQ(scale->um_per_px, 0.25);
  EXPECT_EQ(scale->source, ScaleSource::kCladding);
  EXPECT_DOUBLE_EQ(scale->cladding_diameter_um, 125.0);
}

TEST(SetScale, StatesTheToleranceAsARectangularUncertainty) {
  // JCGM 100:2008, 4.3.7: u = t / sqrt(3); expanded with k = 2.
  const Limits limits = test::ShippedLimits("sm-upc");
  const auto scale = SetScale(Cladding(250, 250, 0), limits);
  const double relative = 2.0 * limits.fibre.cladding_tolerance_um / std::sqrt(3.0) / 125.0;
  EXPECT_NEAR(scale->um_per_px_uncertainty / scale->um_per_px, relative, 1e-12);
}

TEST(SetScale, AddsTheShorteningOfAnAngledFace) {
  // 1 - cos 8 degrees = 0.00973 (derived), as a rectangular half-width.
  const auto flat = SetScale(Cladding(250, 250, 0), test::ShippedLimits("sm-upc"));
  const auto angled = SetScale(Cladding(250, 250, 0), test::ShippedLimits("sm-apc"));
  EXPECT_GT(angled->um_per_px_uncertainty, flat->um_per_px_uncertainty);
}

TEST(SetScale, MakesACircleOfAnEllipseWithoutTurningIt) {
  const auto scale = SetScale(Cladding(260, 240, 0), test::ShippedLimits("sm-upc"));
  EXPECT_NEAR(scale->ToUm({100 + 260, 80}).x, 62.5, 1e-9);
  EXPECT_NEAR(scale->ToUm({100 + 260, 80}).y, 0.0, 1e-9);
  EXPECT_NEAR(scale->ToUm({100, 80 + 240}).y, 62.5, 1e-9);
  const cv::Point2d back = scale->ToPx(scale->ToUm({31, 47}));
  EXPECT_NEAR(back.x, 31, 1e-9);
  EXPECT_NEAR(back.y, 47, 1e-9);
}

TEST(SetScale, ReportsACladdingThatAGivenScaleContradicts) {
  ScaleOptions options;
  options.um_per_px = 0.30;  // the cladding would measure 150 um
  const auto wrong = SetScale(Cladding(250, 250, 0), test::ShippedLimits("sm-upc"), options);
  ASSERT_EQ(wrong->warnings.size(), 1U);
  EXPECT_EQ(wrong->warnings[0].code, "cladding_size");
  options.um_per_px = 0.2505;  // 125.25 um: within tolerance
  const auto right = SetScale(Cladding(250, 250, 0), test::ShippedLimits("sm-upc"), options);
  EXPECT_TRUE(right->warnings.empty());
  EXPECT_EQ(right->source, ScaleSource::kGiven);
}

TEST(SetScale, RefusesAScaleOutsideItsRange) {
  ScaleOptions options;
  options.um_per_px = 0.0;
  const auto scale = SetScale(Cladding(250, 250, 0), test::ShippedLimits("sm-upc"), options);
  ASSERT_FALSE(scale.ok());
  EXPECT_EQ(scale.error().kind, ErrorKind::kBadOption);
}

}  // namespace
}  // namespace endgrade
