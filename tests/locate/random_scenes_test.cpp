// Fibres and things that are none under everything that a camera and dirt can do to them.
#include "endgrade/locate.h"
#include "tests/support/fibre_scene.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// What may still be graded: an edge's full width at half maximum of 4 um, twice the smallest size
// that must be seen (SightOptions.max_blur_over_must_see).
constexpr double kMostBlurUm = 4.0 / 2.355;

// Apart from those that the search was tuned on (1 to 400).
constexpr std::uint64_t kFirstSeed = 20001;
constexpr double kMostPixels = 1.4e6;  // larger pictures are left to the benchmark

Frame FrameOf(const testing::Scene& scene) {
  Frame frame;
  frame.luma = Render(scene);
  return frame;
}

TEST(RandomScenes, EveryFibreIsFoundAndNineOfTenSharpOnesAreCentredWithinTheAim) {
  std::vector<double> centres_um;
  for (std::uint64_t seed = kFirstSeed; centres_um.size() < 40; ++seed) {
    const testing::Scene scene = testing::RandomFibreScene(seed);
    if (scene.size.area() > kMostPixels) continue;
    const auto outcome = LocateFibre(FrameOf(scene));
    ASSERT_TRUE(outcome.ok());
    ASSERT_TRUE(outcome->fibre) << seed << ": " << Describe(scene);
    const double um_per_px = 0.5 * scene.truth.cladding_diameter_um / scene.truth.RadiusPx();
    const cv::Point2d off = outcome->fibre->cladding.centre_px - scene.truth.centre_px;
    const double centre_um = std::hypot(off.x, off.y) * um_per_px;
    EXPECT_LT(centre_um, 3.0) << seed << ": " << Describe(scene);
    const double ratio = outcome->fibre->cladding.MeanRadius() / scene.truth.RadiusPx();
    // An adhesive ring too thin to resolve costs up to its own width.
    EXPECT_NEAR(ratio * 125.0, 125.0, 5.0) << seed << ": " << Describe(scene);
    if (scene.nuisance.blur_um < kMostBlurUm) centres_um.push_back(centre_um);
  }
  std::sort(centres_um.begin(), centres_um.end());
  // The aim for gradable pictures is 0.15 um for 19 of 20; these scenes are harsher than such
  // pictures are, and 9 of 10 are asked for.
  EXPECT_LT(centres_um[35], 0.15);  // 36 of 40
}

TEST(RandomScenes, NoRingIsMadeUpWhereThereIsNoFibre) {
  int looked_at = 0;
  for (std::uint64_t seed = kFirstSeed; looked_at < 40; ++seed) {
    const testing::Scene scene = testing::RandomEmptyScene(seed);
    if (scene.size.area() > kMostPixels) continue;
    ++looked_at;
    const auto outcome = LocateFibre(FrameOf(scene));
    ASSERT_TRUE(outcome.ok());
    EXPECT_FALSE(outcome->fibre) << seed << ": " << Describe(scene);
  }
}

}  // namespace
}  // namespace endgrade
