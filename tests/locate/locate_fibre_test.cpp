#include "endgrade/locate.h"
#include "tests/support/fibre_scene.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace endgrade {
namespace {

using testing::CoreKind;
using testing::Scene;

// The aims: centre within 0.15 um, diameter within 0.25 % (0.3125 of 125 um). These pictures are
// clean, so a third of it is asked for.
constexpr double kCentreUm = 0.05;
constexpr double kDiameterUm = 0.1;

Frame FrameOf(const cv::Mat& luma) {
  Frame frame;
  frame.luma = luma;
  return frame;
}

Scene CleanScene(double diameter_px) {
  Scene scene;
  scene.size = {640, 480};
  scene.truth.centre_px = {318.37, 243.71};
  scene.truth.um_per_px = 125.0 / diameter_px;
  scene.nuisance.noise = 1.0;
  scene.nuisance.blur_um = std::max(0.5, 0.5 * scene.truth.um_per_px);
  return scene;
}

LocateOutcome Locate(const cv::Mat& luma, const LocateOptions& options = {}) {
  const auto outcome = LocateFibre(FrameOf(luma), options);
  EXPECT_TRUE(outcome.ok());
  EXPECT_NE(outcome->fibre.has_value(), outcome->reason.has_value());
  return *outcome;
}

void ExpectFound(const Scene& scene, double centre_um, double diameter_um) {
  const LocateOutcome outcome = Locate(Render(scene));
  ASSERT_TRUE(outcome.fibre) << Describe(scene);
  const Ellipse& found = outcome.fibre->cladding;
  const cv::Point2d off = found.centre_px - scene.truth.centre_px;
  const double um_per_px = 0.5 * scene.truth.cladding_diameter_um / scene.truth.RadiusPx();
  EXPECT_LT(std::hypot(off.x, off.y) * um_per_px, centre_um) << Describe(scene);
  const double ratio = found.MeanRadius() / scene.truth.RadiusPx();
  EXPECT_NEAR(ratio * 125.0, 125.0, diameter_um) << Describe(scene);
}

void ExpectNone(const cv::Mat& luma, const char* what) {
  const LocateOutcome outcome = Locate(luma);
  ASSERT_FALSE(outcome.fibre) << what;
  EXPECT_EQ(outcome.reason->code, "no_fibre");
  EXPECT_FALSE(outcome.reason->text.empty());
}

class SizeTest : public ::testing::TestWithParam<double> {};

TEST_P(SizeTest, FibreIsFoundToTheAim) {
  ExpectFound(CleanScene(GetParam()), kCentreUm, kDiameterUm);
}

INSTANTIATE_TEST_SUITE_P(LocateFibre, SizeTest, ::testing::Values(62, 90, 140, 220, 330, 440));

TEST(LocateFibre, FindsAFibreOf1500PixelsInAPictureOfThreeMegapixels) {
  Scene scene = CleanScene(1500);
  scene.size = {2048, 1600};
  scene.truth.centre_px = {1010.2, 803.9};
  ExpectFound(scene, kCentreUm, kDiameterUm);
}

struct Brightness {
  double ferrule, cladding, core;
  CoreKind kind;
};

class BrightnessTest : public ::testing::TestWithParam<Brightness> {};

TEST_P(BrightnessTest, AnyOrderWillDo) {
  Scene scene = CleanScene(260);
  scene.truth.ferrule = GetParam().ferrule;
  scene.truth.cladding = GetParam().cladding;
  scene.truth.core_level = GetParam().core;
  scene.truth.core = GetParam().kind;
  ExpectFound(scene, kCentreUm, kDiameterUm);
}

INSTANTIATE_TEST_SUITE_P(LocateFibre,
                         BrightnessTest,
                         ::testing::Values(Brightness{160, 90, 230, CoreKind::kSingleMode},
                                           Brightness{160, 90, 30, CoreKind::kSingleMode},
                                           Brightness{60, 140, 250, CoreKind::kMultimode50},
                                           Brightness{60, 140, 30, CoreKind::kMultimode62},
                                           Brightness{140, 60, 250, CoreKind::kMultimode62},
                                           Brightness{100, 112, 250, CoreKind::kMultimode50},
                                           Brightness{112, 100, 0, CoreKind::kNone},
                                           Brightness{30, 220, 0, CoreKind::kNone}));

TEST(LocateFibre, MeasuresMultimodeCores) {
  for (const CoreKind kind : {CoreKind::kMultimode50, CoreKind::kMultimode62}) {
    Scene scene = CleanScene(300);
    scene.truth.core = kind;
    scene.truth.core_level = 220;
    scene.truth.core_offset_um = {0.8, -0.6};
    const LocateOutcome outcome = Locate(Render(scene));
    ASSERT_TRUE(outcome.fibre && outcome.fibre->core);
    const double um_per_px = 125.0 / 300.0;
    EXPECT_NEAR(
        2 * outcome.fibre->core->MeanRadius() * um_per_px, scene.truth.CoreDiameterUm(), 1.0);
    const cv::Point2d off = (outcome.fibre->core->centre_px - scene.truth.centre_px) * um_per_px;
    EXPECT_NEAR(off.x, 0.8, 0.1);
    EXPECT_NEAR(off.y, -0.6, 0.1);
  }
}

TEST(LocateFibre, ReportsNoCoreWhereNoneIsSeen) {
  Scene scene = CleanScene(300);
  scene.truth.core = CoreKind::kNone;
  scene.nuisance.specks = 30;
  scene.nuisance.scratches = 5;
  const LocateOutcome outcome = Locate(Render(scene));
  ASSERT_TRUE(outcome.fibre);
  EXPECT_FALSE(outcome.fibre->core);
}

// ITU-T G.652: core concentricity error at most 0.6 um (from memory). What lies farther off is a
// speck, and not to be taken for clean glass.
TEST(LocateFibre, TakesNoSpeckBesideTheMiddleForTheCore) {
  for (const double core_level : {200.0, 50.0}) {
    Scene scene = CleanScene(400);
    scene.truth.core_level = core_level;
    const auto has_core = [&](cv::Point2d off_um) {
      scene.truth.core_offset_um = off_um;
      const LocateOutcome outcome = Locate(Render(scene));
      return outcome.fibre && outcome.fibre->core.has_value();
    };
    EXPECT_TRUE(has_core({0.4, 0.3})) << core_level;
    EXPECT_FALSE(has_core({1.2, 1.0})) << core_level;
  }
}

TEST(LocateFibre, TakesTheInnerBorderOfAnAdhesiveRing) {
  for (const double level : {20.0, 245.0}) {
    Scene scene = CleanScene(360);
    scene.truth.ring_um = 3.0;
    scene.truth.ring_level = level;
    ExpectFound(scene, kCentreUm, kDiameterUm);
    const LocateOutcome outcome = Locate(Render(scene));
    ASSERT_TRUE(outcome.fibre && outcome.fibre->adhesive_radius_ratio);
    EXPECT_NEAR(*outcome.fibre->adhesive_radius_ratio, 65.5 / 62.5, 0.003);
  }
}

TEST(LocateFibre, SurvivesFortyPercentOfTheRimHidden) {
  Scene scene = CleanScene(300);
  scene.nuisance.hidden_fraction = 0.4;
  for (const std::uint64_t seed : {11U, 12U, 13U, 14U}) {
    scene.nuisance.seed = seed;
    ExpectFound(scene, 0.15, 0.3125);
  }
}

// A film that dried from its border inwards: a dark rim, and somewhat less light inside it.
void DryADroplet(cv::Point2d centre, double radius, cv::Mat* picture) {
  for (int y = 0; y < picture->rows; ++y) {
    for (int x = 0; x < picture->cols; ++x) {
      const double outwards = std::hypot(x - centre.x, y - centre.y) - radius;
      const double inside = 0.5 - 0.5 * std::tanh(outwards);
      const double rim = std::exp(-0.125 * outwards * outwards);
      auto& value = picture->at<std::uint8_t>(y, x);
      value = cv::saturate_cast<std::uint8_t>(value * (1.0 - 0.04 * inside - 0.15 * rim));
    }
  }
}

// It is a sound circle of its own, and no fibre.
TEST(LocateFibre, TakesNoDropletBesideTheGlassOrAcrossItsRimForTheFibre) {
  for (const double light : {1.0, 0.25}) {
    Scene scene = CleanScene(220);
    scene.truth.cladding = 160 * light;
    scene.truth.ferrule = 120 * light;
    scene.truth.core = CoreKind::kNone;
    scene.nuisance.noise = light;
    scene.nuisance.grain = 6.0 * light;
    const double radius = scene.truth.RadiusPx();
    for (const double away : {0.95, 1.1, 1.5}) {
      for (const double turn : {0.3, 2.0, 3.3}) {
        cv::Mat picture = Render(scene);
        const cv::Point2d off(std::cos(turn), std::sin(turn));
        DryADroplet(scene.truth.centre_px + away * radius * off, 0.36 * radius, &picture);
        const LocateOutcome outcome = Locate(picture);
        ASSERT_TRUE(outcome.fibre) << away << " " << turn;
        const cv::Point2d miss = outcome.fibre->cladding.centre_px - scene.truth.centre_px;
        EXPECT_LT(std::hypot(miss.x, miss.y), 1.0) << light << " " << away << " " << turn;
      }
    }
  }
}

// Pixels 5 % taller than wide stretch the outline by as much.
TEST(LocateFibre, MeasuresPixelsThatAreNotSquare) {
  Scene scene = CleanScene(300);
  scene.truth.aspect = 1.05;
  const LocateOutcome outcome = Locate(Render(scene));
  ASSERT_TRUE(outcome.fibre);
  const Ellipse& found = outcome.fibre->cladding;
  EXPECT_NEAR(found.semi_major_px / found.semi_minor_px, 1.05, 0.001);
  EXPECT_NEAR(std::min(found.angle_deg, 180.0 - found.angle_deg), 0.0, 1.5);
}

TEST(LocateFibre, SaysHowMuchOfACutOffRimIsInView) {
  Scene scene = CleanScene(300);
  scene.truth.centre_px = {638.5, 240.0};  // the right border runs through the centre
  const LocateOutcome outcome = Locate(Render(scene));
  ASSERT_TRUE(outcome.fibre);
  EXPECT_NEAR(outcome.fibre->rim_in_view_fraction, 0.48, 0.05);
  EXPECT_LE(outcome.fibre->rim_seen_fraction, outcome.fibre->rim_in_view_fraction);
  EXPECT_NEAR(outcome.fibre->cladding.MeanRadius(), 150.0, 0.5);
}

TEST(LocateFibre, StepAndBlurAreThoseOfThePicture) {
  Scene scene = CleanScene(300);
  scene.nuisance.blur_um = 0.8;
  const LocateOutcome outcome = Locate(Render(scene));
  ASSERT_TRUE(outcome.fibre);
  EXPECT_NEAR(outcome.fibre->rim_step, 160 - 90, 2);
  // 0.8 um of 125/300 um a pixel, and the edge's own ramp of one pixel.
  EXPECT_NEAR(outcome.fibre->blur_sigma_px, std::hypot(0.8 * 300 / 125, std::sqrt(1.0 / 12)), 0.1);
}

TEST(LocateFibre, SixteenBitsGiveWhatEightBitsGive) {
  const cv::Mat eight = Render(CleanScene(200));
  Frame frame;
  eight.convertTo(frame.luma, CV_16U, 257.0);
  frame.white_level = 65535.0;
  const auto wide = LocateFibre(frame);
  const LocateOutcome narrow = Locate(eight);
  ASSERT_TRUE(wide.ok() && wide->fibre && narrow.fibre);
  EXPECT_NEAR(wide->fibre->cladding.MeanRadius(), narrow.fibre->cladding.MeanRadius(), 1e-3);
  EXPECT_NEAR(wide->fibre->cladding.centre_px.x, narrow.fibre->cladding.centre_px.x, 1e-3);
}

TEST(LocateFibre, SamePictureSameAnswer) {
  const cv::Mat luma = testing::Render(testing::RandomFibreScene(4));
  const LocateOutcome first = Locate(luma);
  const LocateOutcome second = Locate(luma);
  ASSERT_TRUE(first.fibre && second.fibre);
  EXPECT_EQ(first.fibre->cladding.centre_px, second.fibre->cladding.centre_px);
  EXPECT_EQ(first.fibre->cladding.semi_major_px, second.fibre->cladding.semi_major_px);
}

TEST(LocateFibre, ARoundMaskIsNoFibre) {
  Scene scene = CleanScene(200);
  scene.nuisance.mask_radius_px = 225;
  scene.nuisance.mask_centre_px = {322, 238};
  ExpectFound(scene, kCentreUm, kDiameterUm);
  scene.truth.present = false;
  ExpectNone(Render(scene), "a mask and nothing in it");
}

// The multimode ratio of 0.4 between a fibre and the mask around it must not make the mask the
// cladding.
TEST(LocateFibre, AMaskOfTheRatioOfACoreIsNoCladding) {
  Scene scene = CleanScene(180);
  scene.truth.centre_px = {320, 240};
  scene.nuisance.mask_radius_px = 225;
  scene.nuisance.mask_centre_px = {320, 240};
  ExpectFound(scene, kCentreUm, kDiameterUm);
}

// A dark ferrule around a fibre that fills the picture looks like a mask, and a multimode core with
// the glass around it like a fibre in one: the ferrule is not black.
TEST(LocateFibre, AMultimodeCoreInADarkFerruleIsNoCladding) {
  Scene scene = CleanScene(414);
  scene.truth.centre_px = {320.3, 239.1};
  scene.truth.core = CoreKind::kMultimode62;
  scene.truth.core_level = 125;
  scene.truth.cladding = 85;
  scene.truth.ferrule = 20;
  ExpectFound(scene, kCentreUm, kDiameterUm);
}

TEST(LocateFibre, TheEdgeOfAWholeFerruleIsNoCladding) {
  for (const double ferrule_um : {1250.0, 2500.0}) {
    Scene scene = CleanScene(70);
    scene.size = {1280, 1024};
    scene.truth.centre_px = {600, 500};
    scene.truth.ferrule_edge_um = ferrule_um;
    ExpectFound(scene, 0.15, 0.3125);
  }
}

TEST(LocateFibre, ReticlesAreNoFibre) {
  Scene scene = CleanScene(200);
  scene.nuisance.reticle = 2;
  ExpectFound(scene, 0.15, 0.3125);
  scene.truth.present = false;
  ExpectNone(Render(scene), "a reticle");
}

// A dark line parts glass and ferrule of nearly the same brightness: so does a reticle's circle,
// but there is a core in the middle of this one.
TEST(LocateFibre, AFibreThatIsHardlyDarkerThanItsFerruleIsToldByItsCore) {
  Scene scene = CleanScene(300);
  scene.truth.cladding = 118;
  scene.truth.ferrule = 128;
  scene.truth.ring_um = 2.5;
  scene.truth.ring_level = 25;
  ExpectFound(scene, 0.15, 0.3125);
  scene.truth.core = CoreKind::kMultimode62;
  scene.truth.core_level = 180;
  ExpectFound(scene, 0.15, 0.3125);
}

// Light that falls off towards the corners, stored in whole grey levels, without any noise: each
// level ends along a circle.
TEST(LocateFibre, BordersOfGreyLevelsAreNoRim) {
  cv::Mat luma(960, 1280, CV_8U);
  for (int y = 0; y < luma.rows; ++y) {
    for (int x = 0; x < luma.cols; ++x) {
      const double off = std::hypot(x - 700.0, y - 520.0) / 800.0;
      luma.at<uchar>(y, x) = static_cast<uchar>(std::lround(120.0 * (1.0 - 0.06 * off * off)));
    }
  }
  ExpectNone(luma, "grey levels");
}

// A bright ring, turned on a lathe, against the dark.
TEST(LocateFibre, AWasherIsNoFibre) {
  for (const double outer : {240.0, 420.0}) {
    cv::Mat luma(960, 1280, CV_8U);
    cv::RNG rng(5);
    for (int y = 0; y < luma.rows; ++y) {
      for (int x = 0; x < luma.cols; ++x) {
        const double radius = std::hypot(x - 618.0, y - 493.0);
        const bool on = radius > 170.0 && radius < outer;
        const double turned = 110.0 + 12.0 * std::sin(0.9 * radius) + 9.0 * std::sin(0.37 * radius);
        const double value = (on ? turned : 12.0) + rng.gaussian(1.5);
        luma.at<uchar>(y, x) = cv::saturate_cast<uchar>(value);
      }
    }
    cv::GaussianBlur(luma, luma, cv::Size(), 1.0);
    ExpectNone(luma, "a washer");
  }
}

// A hole of half the washer's size has the ratio of a wide core, but is as dark as what is around.
TEST(LocateFibre, AWasherWithTheRatioOfACoreIsNoFibre) {
  cv::Mat luma(960, 1280, CV_8U);
  cv::RNG rng(6);
  for (int y = 0; y < luma.rows; ++y) {
    for (int x = 0; x < luma.cols; ++x) {
      const double radius = std::hypot(x - 641.0, y - 470.0);
      const double streaks = 14.0 * std::sin(0.21 * (x + 2.0 * y));
      const double value = radius > 190.0 && radius < 400.0 ? 124.0 + streaks : 33.0;
      luma.at<uchar>(y, x) = cv::saturate_cast<uchar>(value + rng.gaussian(1.5));
    }
  }
  cv::GaussianBlur(luma, luma, cv::Size(), 1.2);
  ExpectNone(luma, "a washer");
}

// Glass and ferrule alike, a thin dark line between them, and a droplet, whose edge is the
// plainest.
Scene FibreBehindLine() {
  Scene scene = CleanScene(300);
  scene.truth.cladding = 82;
  scene.truth.ferrule = 84;
  scene.truth.ring_um = 2.0;
  scene.truth.ring_level = 25;
  scene.truth.core_level = 60;
  return scene;
}

TEST(LocateFibre, AFibreAsBrightAsItsFerruleIsToldByItsCore) {
  ExpectFound(FibreBehindLine(), 0.3, 0.8);
}

TEST(LocateFibre, ADropletOnSuchAFibreIsNotTakenForIt) {
  const Scene scene = FibreBehindLine();
  cv::Mat luma = Render(scene);
  cv::circle(luma, {370, 300}, 17, cv::Scalar(35), 6, cv::LINE_AA);
  cv::GaussianBlur(luma, luma, cv::Size(), 0.8);
  const LocateOutcome outcome = Locate(luma);
  ASSERT_TRUE(outcome.fibre);
  EXPECT_NEAR(outcome.fibre->cladding.MeanRadius() / scene.truth.RadiusPx(), 1.0, 0.02);
}

// The ferrule's face may end in a circle to which the glass has the ratio of a wide core. What core
// the limits ask for tells the two apart.
TEST(LocateFibre, ACircleAroundAFibreOfTheKindAskedForIsNotItsCladding) {
  Scene scene = CleanScene(200);
  scene.truth.ferrule = 110;
  scene.truth.cladding = 60;
  scene.truth.core_level = 95;
  cv::Mat luma = Render(scene);
  for (int y = 0; y < luma.rows; ++y) {
    for (int x = 0; x < luma.cols; ++x) {
      const double radius = std::hypot(x - scene.truth.centre_px.x, y - scene.truth.centre_px.y);
      if (radius > 232) luma.at<uchar>(y, x) = cv::saturate_cast<uchar>(0.5 * luma.at<uchar>(y, x));
    }
  }
  LocateOptions options;
  options.core_diameters_um = {9};
  const LocateOutcome outcome = Locate(luma, options);
  ASSERT_TRUE(outcome.fibre);
  EXPECT_NEAR(outcome.fibre->cladding.MeanRadius() / scene.truth.RadiusPx(), 1.0, 0.01);
}

TEST(LocateFibre, NothingIsNoFibre) {
  ExpectNone(cv::Mat(480, 640, CV_8U, cv::Scalar(128)), "uniform");
  ExpectNone(cv::Mat::zeros(480, 640, CV_8U), "black");
  ExpectNone(cv::Mat(480, 640, CV_8U, cv::Scalar(255)), "white");
  ExpectNone(cv::Mat(1, 1, CV_8U, cv::Scalar(9)), "one pixel");
  ExpectNone(cv::Mat(3, 900, CV_8U, cv::Scalar(9)), "three lines");
  cv::Mat noise(480, 640, CV_8U);
  cv::RNG rng(7);
  rng.fill(noise, cv::RNG::UNIFORM, 0, 256);
  ExpectNone(noise, "noise");
}

TEST(LocateFibre, SaysWhenThePictureIsNearlyBlack) {
  cv::Mat dark(480, 640, CV_8U);
  cv::RNG rng(8);
  rng.fill(dark, cv::RNG::UNIFORM, 0, 4);
  dark.at<std::uint8_t>(100, 100) = 255;  // a hot pixel
  const LocateOutcome outcome = Locate(dark);
  ASSERT_TRUE(outcome.reason);
  EXPECT_NE(outcome.reason->text.find("more light"), std::string::npos);
  const LocateOutcome bright = Locate(dark + 60);
  ASSERT_TRUE(bright.reason);
  EXPECT_EQ(bright.reason->text.find("more light"), std::string::npos);
}

TEST(LocateFibre, SaysWhenTheFibreIsTooSmall) {
  LocateOptions options;
  options.min_cladding_diameter_px = 120;
  const LocateOutcome outcome = Locate(Render(CleanScene(90)), options);
  ASSERT_TRUE(outcome.reason);
  EXPECT_EQ(outcome.reason->code, "no_fibre");
  EXPECT_NE(outcome.reason->text.find("too small"), std::string::npos);
}

TEST(LocateFibre, RefusesAnEmptyFrameAndBadOptions) {
  EXPECT_EQ(LocateFibre(Frame{}).error().kind, ErrorKind::kUnsupported);
  LocateOptions options;
  options.min_rim_seen_fraction = 0.1;
  const auto outcome = LocateFibre(FrameOf(cv::Mat(9, 9, CV_8U, cv::Scalar(0))), options);
  ASSERT_FALSE(outcome.ok());
  EXPECT_EQ(outcome.error().kind, ErrorKind::kBadOption);
  EXPECT_EQ(outcome.error().what,
            "LocateOptions.min_rim_seen_fraction = 0.1: must be within [0.2, 1]");
}

TEST(LocateFibre, FindsAThinRingBetweenGlassAndFerruleOfNearlyOneBrightness) {
  Scene scene = CleanScene(400.0);
  scene.size = {1600, 1200};
  scene.truth.centre_px = {945.3, 545.7};
  scene.truth.cladding = 160;
  scene.truth.ferrule = 148;
  scene.nuisance.grain = 3.0;
  scene.truth.core = CoreKind::kNone;
  scene.truth.ring_um = 1.0;
  scene.truth.ring_level = 110;
  ExpectFound(scene, 0.3, 1.0);
}

// Polished glass is smooth where the ferrule has grain; what a program draws parts nothing.
TEST(LocateFibre, AFibreAsBrightAsItsFerruleIsToldByTheGrainAroundIt) {
  Scene scene = CleanScene(300.0);
  scene.size = {900, 700};
  scene.truth.centre_px = {452.3, 347.7};
  scene.truth.cladding = 120;
  scene.truth.ferrule = 120;
  scene.truth.core = CoreKind::kNone;
  scene.truth.ring_um = 2.0;
  scene.truth.ring_level = 60;
  scene.nuisance.grain = 5.0;
  ExpectFound(scene, 0.3, 1.0);
  scene.nuisance.grain = 0.0;
  ExpectNone(Render(scene), "a line between two surfaces that do not differ");
  scene.truth.present = false;
  scene.nuisance.grain = 5.0;
  cv::Mat luma = Render(scene);
  cv::circle(luma, {452, 347}, 153, cv::Scalar(60), 5, cv::LINE_AA);
  ExpectNone(luma, "a circle drawn on grain");
}

// An unlit core may be a faint bell. What is as soft and darker is residue, what is as small and
// has an edge a particle.
TEST(LocateFibre, TakesAFaintDarkBellForTheCoreButNoParticle) {
  const auto core_in = [](double depth, bool soft) {
    Scene scene = CleanScene(320.0);
    scene.truth.core = CoreKind::kNone;
    cv::Mat luma = Render(scene);
    for (int y = 0; y < luma.rows; ++y) {
      for (int x = 0; x < luma.cols; ++x) {
        const double um = scene.truth.um_per_px *
                          std::hypot(x - scene.truth.centre_px.x, y - scene.truth.centre_px.y);
        const double share =
            soft ? std::exp(-0.5 * um * um / (2.8 * 2.8)) : 0.5 * std::erfc((um - 2.8) / 0.8);
        luma.at<uchar>(y, x) = cv::saturate_cast<uchar>(luma.at<uchar>(y, x) * (1 - depth * share));
      }
    }
    const LocateOutcome outcome = Locate(luma);
    EXPECT_TRUE(outcome.fibre);
    return outcome.fibre && outcome.fibre->core;
  };
  EXPECT_TRUE(core_in(0.15, true));
  EXPECT_FALSE(core_in(0.4, true));
  EXPECT_FALSE(core_in(0.15, false));
}

}  // namespace
}  // namespace endgrade
