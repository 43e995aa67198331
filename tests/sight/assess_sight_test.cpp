#include "endgrade/measure.h"
#include "endgrade/sight.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>

namespace endgrade {
namespace {

Sight SightOf(const test::Drawn& drawn) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const ZoneMap zones = LayZones(drawn.frame.luma.size(), drawn.scale, limits);
  const ContrastMap map = Flatten(drawn.frame, drawn.fibre, drawn.scale, zones);
  const Detection detection = DetectRegions(map);
  return AssessSight({drawn.frame, drawn.fibre, drawn.scale, zones, map, detection, {}, limits});
}

Sight SightOf(const test::DrawnFace& face) { return SightOf(test::Draw(face)); }

bool HasProblem(const Sight& sight, const std::string& code) {
  for (const Reason& reason : sight.quality.problems) {
    if (reason.code == code) return true;
  }
  return false;
}

TEST(AssessSight, SeesTwoMicrometresInAGoodPicture) {
  const Sight sight = SightOf(test::DrawnFace{});
  ASSERT_TRUE(sight.zones[0].smallest_visible_um);
  EXPECT_LT(*sight.zones[0].smallest_visible_um, 2.0);
  EXPECT_LT(*sight.zones[1].smallest_visible_um, 2.0);
  EXPECT_TRUE(sight.quality.problems.empty());
}

TEST(AssessSight, SeesLessTheNoisierThePicture) {
  test::DrawnFace quiet;
  test::DrawnFace noisy;
  noisy.noise = 12.0;
  EXPECT_GT(*SightOf(noisy).zones[1].smallest_visible_um,
            *SightOf(quiet).zones[1].smallest_visible_um);
}

TEST(AssessSight, WhatItSaysWouldBeFoundIsFound) {
  // Discs of the stated size and contrast, in places of their own, over several seeds: at least the
  // stated rate less three points of a hundred trials' spread (binomial, 95 % +/- 2 * 2.2 %).
  test::DrawnFace face;
  face.noise = 6.0;
  const double size = *SightOf(face).zones[1].smallest_visible_um;
  int found = 0;
  int placed = 0;
  const Limits limits = test::ShippedLimits("sm-upc");
  for (std::uint64_t seed = 50; seed < 60; ++seed) {
    face.seed = seed;
    face.discs.clear();
    for (int i = 0; i < 10; ++i) {
      const double angle = 2 * CV_PI * i / 10 + 0.1 * static_cast<double>(seed);
      const double radius = 22.0 + 25.0 * (i % 2);
      face.discs.push_back({{radius * std::cos(angle), radius * std::sin(angle)}, size, -0.3});
    }
    const test::Drawn drawn = test::Draw(face);
    const ContrastMap map = test::FlattenDrawn(drawn, limits);
    const auto features =
        MeasureFeatures(drawn.frame, map, drawn.scale, limits, DetectRegions(map).regions);
    for (const test::DrawnDisc& disc : face.discs) {
      ++placed;
      for (const Feature& f : features) {
        if (std::hypot(f.centre_um.x - disc.centre_um.x, f.centre_um.y - disc.centre_um.y) < 2.0) {
          ++found;
          break;
        }
      }
    }
  }
  EXPECT_GE(found, placed * 89 / 100) << size;
}

// Whether the centre of a found feature of either kind lies within 6 um of a line's middle: it may
// be found in part.
bool IsOn(const std::vector<Feature>& features, cv::Point2d middle_um) {
  return std::any_of(features.begin(), features.end(), [&](const Feature& f) {
    return std::hypot(f.centre_um.x - middle_um.x, f.centre_um.y - middle_um.y) < 6.0;
  });
}

TEST(AssessSight, ScratchesOfTheSizeThatItSaysAreFound) {
  // As above, with 40 lines of 30 um: the stated 95 % less two binomial spreads (3.4 %) and the
  // three points allowed is 85 %.
  test::DrawnFace face;
  face.noise = 6.0;
  const double width = *SightOf(face).zones[1].smallest_visible_scratch_um;
  EXPECT_LT(width, 1.0);
  const Limits limits = test::ShippedLimits("sm-upc");
  int found = 0;
  int placed = 0;
  for (std::uint64_t seed = 80; seed < 85; ++seed) {
    face.seed = seed;
    face.lines.clear();
    std::vector<cv::Point2d> middles;
    for (int i = 0; i < 8; ++i) {
      const double angle = 2 * CV_PI * i / 8 + 0.07 * static_cast<double>(seed);
      const double radius = i % 2 == 0 ? 24.0 : 44.0;
      const cv::Point2d out(std::cos(angle), std::sin(angle));
      const cv::Point2d along(-out.y, out.x);
      middles.push_back(radius * out);
      face.lines.push_back({radius * out - 15 * along, radius * out + 15 * along, width, -0.3});
    }
    const test::Drawn drawn = test::Draw(face);
    const ContrastMap map = test::FlattenDrawn(drawn, limits);
    const auto features =
        MeasureFeatures(drawn.frame, map, drawn.scale, limits, DetectRegions(map).regions);
    for (const cv::Point2d& middle : middles) {
      ++placed;
      found += IsOn(features, middle) ? 1 : 0;
    }
  }
  EXPECT_GE(found, placed * 85 / 100) << width;
}

TEST(AssessSight, CallsABlurredPictureOutOfFocus) {
  test::DrawnFace face;
  face.blur_um = 3.0;
  EXPECT_TRUE(HasProblem(SightOf(face), "out_of_focus"));
}

// A shaken camera averages the picture along a straight path.
Sight SightOfShaken(const test::DrawnFace& face, int path_px) {
  const Limits limits = test::ShippedLimits("sm-upc");
  test::Drawn drawn = test::Draw(face);
  if (path_px > 1) {
    const cv::Mat path = cv::Mat::eye(path_px, path_px, CV_32FC1) / path_px;
    cv::filter2D(drawn.frame.luma, drawn.frame.luma, -1, path);
  }
  const ZoneMap zones = LayZones(drawn.frame.luma.size(), drawn.scale, limits);
  const ContrastMap map = Flatten(drawn.frame, drawn.fibre, drawn.scale, zones);
  const Detection detection = DetectRegions(map);
  return AssessSight({drawn.frame, drawn.fibre, drawn.scale, zones, map, detection, {}, limits});
}

TEST(AssessSight, TellsAShakenPictureAndHowFarItMoved) {
  test::DrawnFace face;
  EXPECT_EQ(SightOfShaken(face, 1).quality.smear_um, 0.0);
  const Sight shaken = SightOfShaken(face, 15);  // 15 px of 0.4 um, along the diagonal: 8.5 um
  EXPECT_TRUE(HasProblem(shaken, "shaken"));
  EXPECT_NEAR(shaken.quality.smear_um, 8.5, 2.5);
}

// Quiet as it is, a mark of a tenth of the light is less than one grey level of it.
TEST(AssessSight, CallsAPictureTooDarkWhichAFewGreyLevelsHold) {
  test::DrawnFace face;
  face.noise = 0.5;
  face.grain = 0.5;
  face.glass = 14;
  face.ferrule = 10;
  face.core = 17;
  EXPECT_TRUE(HasProblem(SightOf(face), "too_dark"));
  face.ferrule = 60;  // dark glass in a bright ferrule is what some lights make of a good face
  EXPECT_FALSE(HasProblem(SightOf(face), "too_dark"));
}

TEST(AssessSight, CallsAHazyPictureHazy) {
  test::DrawnFace face;
  face.ferrule = face.glass + 2;
  face.core = face.glass + 1;
  face.grain = 0.3;
  face.tilt_of_light = 0;
  EXPECT_TRUE(HasProblem(SightOf(face), "hazy"));
}

// A sensor that clips before its colours are mixed leaves a white below the file's own.
test::Drawn DrawnWithTheGlassAt(double level) {
  test::DrawnFace face;
  face.glass = level;
  face.core = level - 40;
  test::Drawn drawn = test::Draw(face);
  cv::min(drawn.frame.luma, cv::Scalar(230), drawn.frame.luma);
  return drawn;
}

TEST(AssessSight, TellsAWhiteBelowTheFilesOwnByItsFlatness) {
  EXPECT_TRUE(HasProblem(SightOf(DrawnWithTheGlassAt(260)), "saturated"));
  EXPECT_FALSE(HasProblem(SightOf(DrawnWithTheGlassAt(205)), "saturated"));
}

TEST(AssessSight, TellsWhatIsClippedInColouredLightAtAnyBrightness) {
  test::DrawnFace face;
  face.glass = 90;
  face.core = 145;
  face.core_radius_um = 31.0;  // multimode
  test::Drawn drawn = test::Draw(face);
  EXPECT_FALSE(HasProblem(SightOf(drawn), "saturated"));
  cv::min(drawn.frame.luma, cv::Scalar(130), drawn.frame.luma);
  EXPECT_TRUE(HasProblem(SightOf(drawn), "saturated"));
}

// Without noise, too, and whatever grey the clipped colour makes: a ferrule has grain.
TEST(AssessSight, CallsAFerruleWithoutGrainSaturated) {
  test::DrawnFace face;
  face.noise = 0;
  face.ferrule = 190;
  test::Drawn drawn = test::Draw(face);
  EXPECT_FALSE(HasProblem(SightOf(drawn), "saturated"));
  cv::min(drawn.frame.luma, cv::Scalar(150), drawn.frame.luma);
  EXPECT_TRUE(HasProblem(SightOf(drawn), "saturated"));
}

TEST(AssessSight, CallsAWhitePictureSaturated) {
  test::DrawnFace face;
  face.glass = 300;
  face.core = 320;
  EXPECT_TRUE(HasProblem(SightOf(face), "saturated"));
}

}  // namespace
}  // namespace endgrade
