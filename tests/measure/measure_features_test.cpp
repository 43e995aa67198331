#include "endgrade/measure.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade {
namespace {

// A narrow deep scratch and a wider shallow one look the same behind the blur: what is stated holds
// both.
TEST(MeasureFeatures, AScratchNarrowerThanTheBlurIsDoubtedByAsMuch) {
  for (const double width_um : {0.3, 0.8, 1.2}) {
    test::DrawnFace face;
    face.core_radius_um = 0;
    face.blur_um = 0.9;
    face.lines = {{{-35, 12}, {35, 20}, width_um, -0.3 / width_um}};
    const std::vector<Feature> features = test::FeaturesOn(face);
    ASSERT_EQ(features.size(), 1U) << width_um;
    ASSERT_EQ(features[0].kind, FeatureKind::kScratch);
    EXPECT_NEAR(features[0].size_um, width_um, features[0].size_uncertainty_um) << width_um;
    const double blur_um = 2.355 * face.blur_um;  // full width at half maximum
    EXPECT_GT(features[0].size_uncertainty_um, 0.8 * (blur_um - features[0].size_um)) << width_um;
  }
}

// The dark edge of a bright particle may be lost in the ferrule's grain, not on the glass.
TEST(MeasureFeatures, ABrightSpeckIsDoubtedMoreOnTheFerrule) {
  const auto uncertainty = [](cv::Point2d centre_um, double contrast) {
    test::DrawnFace face;
    face.core_radius_um = 0;
    face.discs = {{centre_um, 4.0, contrast}};
    const std::vector<Feature> features = test::FeaturesOn(face);
    EXPECT_EQ(features.size(), 1U);
    return features.empty() ? 0.0 : features[0].size_uncertainty_um;
  };
  const double on_glass = uncertainty({30, 20}, 0.5);
  EXPECT_GT(uncertainty({80, 40}, 0.5), on_glass + 0.5);
  EXPECT_LT(uncertainty({80, 40}, -0.5), on_glass + 0.3);
}

}  // namespace
}  // namespace endgrade
