#include "endgrade/detect.h"
#include "endgrade/grade_image.h"
#include "endgrade/measure.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

const Feature* Nearest(const std::vector<Feature>& features, cv::Point2d um) {
  const Feature* best = nullptr;
  double least = 4.0;
  for (const Feature& f : features) {
    const double away = std::hypot(f.centre_um.x - um.x, f.centre_um.y - um.y);
    if (away < least) {
      least = away;
      best = &f;
    }
  }
  return best;
}

TEST(DetectRegions, FindsNothingOnCleanFaces) {
  size_t found = 0;
  for (std::uint64_t seed = 11; seed < 16; ++seed) {
    test::DrawnFace face;
    face.seed = seed;
    found += test::FeaturesOn(face).size();
  }
  EXPECT_LE(found, 1U);  // fewer than 0.3 a picture
}

TEST(DetectRegions, SizesDiscsWithinTheirStatedUncertainty) {
  test::DrawnFace face;
  face.discs = {{{20, 5}, 2.0, -0.4},
                {{-30, 20}, 3.0, -0.4},
                {{10, -35}, 5.0, 0.4},
                {{-20, -30}, 8.0, -0.25}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  for (const test::DrawnDisc& disc : face.discs) {
    const Feature* found = Nearest(features, disc.centre_um);
    ASSERT_NE(found, nullptr) << disc.diameter_um;
    EXPECT_EQ(found->kind, FeatureKind::kDefect);
    EXPECT_NEAR(found->size_um, disc.diameter_um, std::max(0.5, found->size_uncertainty_um));
    EXPECT_EQ(found->contrast_peak < 0, disc.contrast < 0);
  }
}

// A clear particle: a dark rim round a middle that lets most of the light through. Blur widens the
// rim to both sides; of a disc as wide it would only soften the edge.
TEST(DetectRegions, SizesAParticleWhoseRimIsHardlyDarkerThanItsMiddle) {
  test::DrawnFace face;
  face.blur_um = 0.65;
  const std::vector<cv::Point2d> centres = {{20, 5}, {-30, 20}, {10, -35}, {-20, -30}};
  for (const cv::Point2d& centre : centres) {
    face.discs.push_back({centre, 6.0, -0.24});
    face.discs.push_back({centre, 4.4, 0.16});
  }
  const std::vector<Feature> features = test::FeaturesOn(face);
  for (const cv::Point2d& centre : centres) {
    const Feature* found = Nearest(features, centre);
    ASSERT_NE(found, nullptr);
    EXPECT_NEAR(found->size_um, 6.0, 0.35);
  }
}

// A scratch is not equally deep all along, but where it is wider there is dirt on it.
TEST(DetectRegions, FindsTheSpeckOnAScratch) {
  test::DrawnFace face;
  face.um_per_px = 0.3;
  face.size = {1000, 1000};
  face.blur_um = 0.4;
  face.noise = 0.8;
  face.lines = {{{-45, -21}, {45, 21}, 1.8, -0.3}};
  face.discs = {{{-21.4, -10.0}, 4.0, -0.4}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 2U);
  const Feature* speck = Nearest(features, face.discs[0].centre_um);
  ASSERT_NE(speck, nullptr);
  EXPECT_EQ(speck->kind, FeatureKind::kDefect);
  EXPECT_GT(speck->size_um, 2.5);
}

// Of a picture without blur, as of a drawing: which pixels an edge fills is chance.
TEST(DetectRegions, TakesNoCoreForDirtHoweverSharpItIs) {
  for (const double core : {60.0, 80.0, 130.0, 190.0}) {
    test::DrawnFace face;
    face.blur_um = 0.02;
    face.noise = 0.6;
    face.grain = 0.0;
    face.core = core;
    EXPECT_TRUE(test::FeaturesOn(face).empty()) << core;
  }
}

TEST(DetectRegions, FindsALongFaintScratchAndItsWidth) {
  test::DrawnFace face;
  face.lines = {{{-40, -20}, {45, 10}, 2.0, -0.15}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kScratch);
  EXPECT_NEAR(features[0].size_um, 2.0, 0.5);
  EXPECT_NEAR(*features[0].length_um, 90.1, 10.0);
}

TEST(DetectRegions, KeepsSpecksThatTouchAScratchApartFromIt) {
  test::DrawnFace face;
  face.lines = {{{-45, -20}, {45, 10}, 1.2, -0.3}};
  face.discs = {{{-15, -10}, 5.0, -0.5}, {{22.5, 2.5}, 5.0, -0.5}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  int scratches = 0;
  for (const Feature& f : features) scratches += f.kind == FeatureKind::kScratch ? 1 : 0;
  EXPECT_EQ(scratches, 1);
  for (const test::DrawnDisc& disc : face.discs) {
    const Feature* found = Nearest(features, disc.centre_um);
    ASSERT_NE(found, nullptr);
    EXPECT_EQ(found->kind, FeatureKind::kDefect);
  }
}

TEST(DetectRegions, SeesOneScratchInDashes) {
  test::DrawnFace face;
  for (int i = 0; i < 6; ++i) {
    const double x = -40.0 + 14.0 * i;
    face.lines.push_back({{x, 20}, {x + 11.0, 20}, 1.2, -0.35});
  }
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kScratch);
  EXPECT_GT(*features[0].length_um, 65.0);
}

TEST(DetectRegions, SeesOneWideFaintScratchInAFewStrokes) {
  test::DrawnFace face;
  for (int i = 0; i < 4; ++i) {
    const double x = -60.0 + 26.0 * i;
    face.lines.push_back({{x, 85}, {x + 12.0, 85}, 4.0, -0.25});  // on the ferrule
  }
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kScratch);
  EXPECT_NEAR(features[0].size_um, 4.0, std::max(0.8, features[0].size_uncertainty_um));
  EXPECT_GT(*features[0].length_um, 75.0);
}

TEST(DetectRegions, CallsLinesThatMeetAtAKinkACrack) {
  test::DrawnFace face;
  face.lines = {{{-40, -20}, {-10, -25}, 1.2, -0.4}, {{-10, -25}, {15, -45}, 1.2, -0.4}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kDefect);
  EXPECT_NEAR(features[0].size_um, std::hypot(55.0, 25.0) + 1.2, 4.0);
}

// Of two families of polishing scratches that cross, two end on one another.
TEST(DetectRegions, CallsScratchesOfTwoFamiliesThatMeetNoCrack) {
  test::DrawnFace face;
  for (const double across : {-44.0, -30.0, -16.0, 16.0}) {
    face.lines.push_back({{across, -30}, {across, 30}, 1.0, -0.35});
  }
  for (const double up : {-30.0, -18.0, 20.0, 34.0}) {
    face.lines.push_back({{-44, up}, {-4, up + 8}, 1.0, -0.35});
  }
  for (const Feature& f : test::FeaturesOn(face)) {
    EXPECT_EQ(f.kind, FeatureKind::kScratch) << f.size_um << " at " << f.centre_um;
  }
}

TEST(DetectRegions, TakesTheRimOfAParticleForPartOfIt) {
  test::DrawnFace face;
  face.blur_um = 0.3;
  face.um_per_px = 0.25;
  face.size = {1200, 1200};
  face.discs = {{{25, -20}, 3.0, 0.5}};
  face.rings = {};
  const std::vector<Feature> plain = test::FeaturesOn(face);
  ASSERT_EQ(plain.size(), 1U);
  // The same bright disc in a dark ring of 0.8 um: a disc of 4.6 um under it.
  face.discs = {{{25, -20}, 4.6, -0.25}, {{25, -20}, 3.0, 1.0}};
  const std::vector<Feature> rimmed = test::FeaturesOn(face);
  ASSERT_EQ(rimmed.size(), 1U);
  EXPECT_NEAR(plain[0].size_um, 3.0, plain[0].size_uncertainty_um);
  EXPECT_NEAR(rimmed[0].size_um, 4.6, rimmed[0].size_uncertainty_um);
}

// What lies along the cladding's edge may look like sharpening; plain specks tell that it is none.
TEST(DetectRegions, TakesARimForOneWherePlainSpecksShowNoFringe) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.noise = 0.6;
  face.blur_um = 0.3;
  face.um_per_px = 0.25;
  face.size = {1200, 1200};
  face.rings = {{59.0, 3.0, -0.3}};
  face.discs = {{{25, -20}, 4.6, -0.18},
                {{25, -20}, 3.0, 0.9},
                {{-25, 10}, 3.0, 0.8},
                {{-10, -30}, 3.5, -0.6},
                {{10, 30}, 3.0, 0.6},
                {{-35, -20}, 3.0, -0.6}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  const Feature* particle = Nearest(features, {25, -20});
  ASSERT_NE(particle, nullptr);
  EXPECT_NEAR(particle->size_um, 4.6, 0.8);
}

// A pit lit from one side: dark, with a bright wall where the light falls. Its size holds both.
TEST(DetectRegions, MeasuresAPitAcrossItsBrightSide) {
  struct Pit {
    double dark_um, wall_um, dark_contrast, wall_contrast;
  };
  for (const Pit& pit : {Pit{8.0, 1.5, -0.4, 0.4}, Pit{3.0, 0.8, -0.6, 0.2}}) {
    test::DrawnFace face;
    face.noise = 0.8;
    const cv::Point2d centre(20, 12);
    const double wall = centre.x + 0.5 * (pit.dark_um + pit.wall_um);
    const double half = 0.25 * pit.dark_um;
    face.discs = {{centre, pit.dark_um, pit.dark_contrast}};
    face.lines = {
        {{wall, centre.y - half}, {wall, centre.y + half}, pit.wall_um, pit.wall_contrast}};
    const std::vector<Feature> features = test::FeaturesOn(face);
    ASSERT_EQ(features.size(), 1U) << pit.wall_contrast;
    EXPECT_EQ(features[0].kind, FeatureKind::kDefect);
    EXPECT_NEAR(features[0].size_um, pit.dark_um + pit.wall_um, 0.8) << pit.wall_contrast;
    EXPECT_GT(features[0].size_um, pit.dark_um + 0.5 * pit.wall_um) << pit.wall_contrast;
  }
}

TEST(DetectRegions, MeasuresAScratchWithABrightAndADarkHalfAcrossBoth) {
  test::DrawnFace face;
  const cv::Point2d along(0.9397, 0.3420);
  const cv::Point2d across(-0.3420, 0.9397);
  const cv::Point2d middle(5, 22);
  const auto half = [&](double side, double contrast) {
    const cv::Point2d at = middle + across * (0.6 * side);
    return test::DrawnLine{at - along * 35.0, at + along * 35.0, 1.2, contrast};
  };
  face.lines = {half(-1, -0.4), half(1, 0.4)};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kScratch);
  EXPECT_NEAR(features[0].size_um, 2.4, features[0].size_uncertainty_um);
}

// As a whole wider than any line with one side, and no ten times as long as wide.
TEST(DetectRegions, MeasuresAWideScratchWithABrightAndADarkHalfAcrossBoth) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = {{{-30, 20}, {30, 20}, 3.4, -0.4}, {{-30, 23.4}, {30, 23.4}, 3.4, 0.2}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kScratch);
  EXPECT_NEAR(features[0].size_um, 6.8, features[0].size_uncertainty_um);
}

// Where the sides run into one another they cancel, and are found further apart than they are wide.
TEST(DetectRegions, MeasuresAScratchWhoseSidesArePartedAcrossBoth) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.blur_um = 0.3;
  face.lines = {{{-35, 20}, {35, 20}, 4.0, -0.4}, {{-35, 25.8}, {35, 25.8}, 4.0, 0.3}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kScratch);
  EXPECT_NEAR(features[0].size_um, 9.8, features[0].size_uncertainty_um);
}

// Glass and ferrule throw the light back differently: each half differs from end to end, too, and
// the dark one alone lies outside the zone that the scratch reaches into.
TEST(DetectRegions, MeasuresAWideTwoSidedScratchAlongTheRimAcrossBothSides) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = {{{54.8, -70}, {54.8, 70}, 4.2, 0.25}, {{59.0, -70}, {59.0, 70}, 4.2, -0.25}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  const auto widest =
      std::max_element(features.begin(), features.end(), [](const Feature& a, const Feature& b) {
        return a.size_um < b.size_um;
      });
  ASSERT_NE(widest, features.end());
  EXPECT_EQ(widest->kind, FeatureKind::kScratch);
  EXPECT_NEAR(widest->size_um, 8.4, widest->size_uncertainty_um);
  EXPECT_EQ(widest->zone, 1);  // B;
}

// Flat across: what follows its brightness may run along one flank here and along the other there.
TEST(DetectRegions, MeasuresAWideFlatScratchFromFlankToFlank) {
  for (const double width_um : {4.5, 5.5, 7.0}) {
    for (const double turn : {0.2, 1.1, 2.5}) {
      test::DrawnFace face;
      face.size = {1400, 1400};
      face.um_per_px = 0.2;
      face.blur_um = 0.3;
      face.noise = 0.3;
      face.grain = 0.5;
      face.core_radius_um = 0;
      const cv::Point2d along(std::cos(turn), std::sin(turn));
      const cv::Point2d middle = 25.0 * cv::Point2d(-along.y, along.x);
      face.lines = {{middle - 38.0 * along, middle + 38.0 * along, width_um, -0.4}};
      const std::vector<Feature> features = test::FeaturesOn(face);
      const auto longest = std::max_element(
          features.begin(), features.end(), [](const Feature& a, const Feature& b) {
            return a.length_um.value_or(0) < b.length_um.value_or(0);
          });
      ASSERT_NE(longest, features.end());
      EXPECT_EQ(longest->kind, FeatureKind::kScratch) << width_um << ' ' << turn;
      EXPECT_NEAR(longest->size_um, width_um, std::min(1.0, longest->size_uncertainty_um)) << turn;
    }
  }
}

TEST(DetectRegions, KeepsWideScratchesThatCrossApart) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = {{{-45, -15}, {45, 15}, 4.0, -0.4}, {{-45, 20}, {45, -12}, 4.0, 0.4}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  int scratches = 0;
  for (const Feature& f : features) scratches += f.kind == FeatureKind::kScratch ? 1 : 0;
  EXPECT_EQ(scratches, 2);
}

TEST(DetectRegions, SeesAFaintScratchThatStrongerOnesCross) {
  test::DrawnFace face;
  face.lines = {{{-40, -30}, {45, 20}, 1.2, -0.5},
                {{-40, 20}, {45, -35}, 1.2, 0.5},
                {{-30, -38}, {10, 45}, 1.2, -0.12}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  int scratches = 0;
  for (const Feature& f : features) scratches += f.kind == FeatureKind::kScratch ? 1 : 0;
  EXPECT_EQ(scratches, 3);
}

double DistanceToLine(cv::Point2d p, const test::DrawnLine& line) {
  const cv::Point2d run = line.to_um - line.from_um;
  const double along = std::clamp((p - line.from_um).dot(run) / run.dot(run), 0.0, 1.0);
  const cv::Point2d off = p - line.from_um - along * run;
  return std::hypot(off.x, off.y);
}

// Five that meet, strong and faint, dark and bright, at steep and at shallow angles.
TEST(DetectRegions, MeasuresScratchesThatMeetEachByItself) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.lines = {{{-45, -25}, {40, 30}, 1.4, -0.6},
                {{-45, -5}, {45, 8}, 1.0, 0.12},
                {{-20, 45}, {12, -45}, 1.6, 0.4},
                {{-30, -35}, {25, 40}, 1.0, -0.13},
                {{-48, 10}, {44, -20}, 1.2, -0.25}};
  const test::Drawn drawn = test::Draw(face);
  const std::vector<Feature> features = test::FeaturesOn(face);
  EXPECT_EQ(features.size(), face.lines.size());
  const auto farthest = [&](const Feature& f, const test::DrawnLine& line) {
    double most = 0;
    for (const cv::Point2d& px : f.outline_px) {
      most = std::max(most, DistanceToLine(drawn.scale.ToUm(px), line));
    }
    return most;
  };
  for (const test::DrawnLine& line : face.lines) {
    const auto found =
        std::min_element(features.begin(), features.end(), [&](const Feature& a, const Feature& b) {
          return farthest(a, line) < farthest(b, line);
        });
    ASSERT_NE(found, features.end());
    EXPECT_LT(farthest(*found, line), 3.5) << line.contrast;
    EXPECT_EQ(found->kind, FeatureKind::kScratch) << line.contrast;
    EXPECT_NEAR(found->size_um, line.width_um, std::max(0.5, found->size_uncertainty_um));
    const cv::Point2d run = line.to_um - line.from_um;
    const double length = std::hypot(run.x, run.y);
    EXPECT_NEAR(*found->length_um, length, 0.12 * length) << line.contrast;
  }
}

// A line through both takes most of them out; it is given up, and what it took is theirs.
TEST(DetectRegions, FindsTwoSpecksThatALineWasDrawnThrough) {
  for (const double apart : {9.0, 12.0, 15.0}) {
    test::DrawnFace face;
    face.core_radius_um = 0;
    face.discs = {{{20, 20}, 3.2, -0.55}, {{20 + apart, 20 + 0.6 * apart}, 3.5, -0.6}};
    const std::vector<Feature> features = test::FeaturesOn(face);
    EXPECT_EQ(features.size(), 2U) << apart;
    for (const Feature& f : features) EXPECT_NEAR(f.size_um, 3.35, 0.8) << apart;
  }
}

// On the ferrule it is three times as far below what lies around it as on the glass.
TEST(DetectRegions, OutlinesAWideScratchAcrossDarkGlassInABrightFerrule) {
  test::DrawnFace face;
  face.glass = 60;
  face.core = 70;
  face.ferrule = 210;
  face.lines = {{{-120, 0}, {120, 50}, 9.0, -0.76}};
  const test::Drawn drawn = test::Draw(face);
  double nearest = 1e9;
  for (const Feature& f : test::FeaturesOn(face)) {
    for (const cv::Point2d& px : f.outline_px) {
      nearest = std::min(nearest, cv::norm(drawn.scale.ToUm(px)));
    }
  }
  EXPECT_LT(nearest, 24.5);  // um: the scratch's middle line passes that far from the face's
  EXPECT_GT(nearest, 12.0);
}

// Where a round stop hides a part of the face there is no noise: of what is beside it none is told.
TEST(DetectRegions, FindsNothingBesideAFieldStop) {
  for (std::uint64_t seed = 21; seed < 24; ++seed) {
    test::DrawnFace face;
    face.seed = seed;
    face.grain = 8.0;
    test::Drawn drawn = test::Draw(face);
    cv::Mat stop(drawn.frame.luma.size(), CV_8UC1, cv::Scalar(255));
    const cv::Point2d middle = drawn.fibre.cladding.centre_px + cv::Point2d(70, 40);
    cv::circle(stop, middle, 335, cv::Scalar(0), cv::FILLED);
    drawn.frame.luma.setTo(0, stop);
    const auto grade = GradeFrame(drawn.frame, test::ShippedLimits("sm-upc"));
    ASSERT_TRUE(grade.ok());
    ASSERT_EQ(grade->fibres.size(), 1U);
    EXPECT_LE(grade->fibres[0].features.size(), 1U) << seed;
    EXPECT_EQ(grade->verdict, Verdict::kUngradable);  // zone D is cut off
  }
}

TEST(DetectRegions, CountsAFeatureInTheInnermostZoneThatItTouches) {
  test::DrawnFace face;
  face.discs = {{{15.0, 0}, 7.0, -0.4}};  // from 11.5 to 18.5 um: over the border of A at 12.5
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].zone, 0);
}

TEST(DetectRegions, GivesTheSameFeaturesTwice) {
  test::DrawnFace face;
  face.discs = {{{20, 5}, 2.0, -0.4}};
  const auto once = test::FeaturesOn(face);
  const auto twice = test::FeaturesOn(face);
  ASSERT_EQ(once.size(), twice.size());
  for (size_t i = 0; i < once.size(); ++i) {
    EXPECT_EQ(once[i].size_um, twice[i].size_um);
    EXPECT_EQ(once[i].outline_px, twice[i].outline_px);
  }
}

double SpanUm(const ContrastMap& map, const Region& region) {
  const cv::Rect box = cv::boundingRect(region.cells);
  return std::max(box.width, box.height) * map.um_per_cell;
}

TEST(DetectRegions, DoesNotTakeTwoSpecksInARowForOne) {
  test::DrawnFace face;
  face.discs = {{{-30, -8}, 6.0, -0.5}, {{-30, 8}, 5.0, -0.5}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  for (const Region& region : DetectRegions(map).regions) {
    EXPECT_LT(SpanUm(map, region), 9.0);
    EXPECT_FALSE(region.is_line);
  }
}

TEST(DetectRegions, TakesTwoLikeDashesForOneScratch) {
  test::DrawnFace face;
  face.um_per_px = 0.9;
  face.size = {400, 400};
  face.grain = 1.0;
  face.lines = {{{70, 60}, {86, 68}, 3.5, 0.4}, {{89, 69.5}, {105, 77.5}, 3.5, 0.4}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  double longest = 0;
  for (const Region& region : DetectRegions(map).regions) {
    if (region.is_line) longest = std::max(longest, SpanUm(map, region));
  }
  EXPECT_GT(longest, 30.0);
}

TEST(DetectRegions, TellsAShortScratchInGrainFromAParticleByItsShape) {
  test::DrawnFace face;
  face.grain = 7.0;
  face.lines = {{{82, -24}, {100, -10}, 1.8, -0.3}, {{-90, 20}, {-80, 27}, 4.5, -0.3}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  const Feature* scratch = Nearest(features, {91, -17});
  ASSERT_NE(scratch, nullptr);
  EXPECT_EQ(scratch->kind, FeatureKind::kScratch);
  EXPECT_NEAR(scratch->size_um, 1.8, std::max(0.8, scratch->size_uncertainty_um));
  EXPECT_NEAR(*scratch->length_um, 22.8, 4.0);
  const Feature* particle = Nearest(features, {-85, 23.5});  // 12 um long, 4.5 wide
  ASSERT_NE(particle, nullptr);
  EXPECT_EQ(particle->kind, FeatureKind::kDefect);
}

// Two strokes upon one another are as deep as the deeper, not as both.
TEST(DetectRegions, LeavesNoDefectWhereScratchesCrossOrFade) {
  test::DrawnFace face;
  face.um_per_px = 0.55;
  face.size = {560, 560};
  face.blur_um = 0.4;
  face.core_radius_um = 0;
  face.lines = {{{-45, -22}, {40, 25}, 1.0, -0.45},
                {{-40, 20}, {42, -20}, 1.2, -0.4},
                {{-6, -45}, {4, 40}, 1.0, -0.4},
                {{4, 40}, {5.2, 50}, 1.0, -0.2}};
  for (const Feature& f : test::FeaturesOn(face))
    EXPECT_EQ(f.kind, FeatureKind::kScratch) << f.size_um;
}

TEST(DetectRegions, BelievesNoStepLowerThanTheFilesOwnRounding) {
  test::DrawnFace face;
  face.noise = 0.6;
  face.discs = {{{25, 10}, 10.0, -0.045}, {{-25, -10}, 10.0, -0.12}};  // 4 and 11 of 90
  const Limits limits = test::ShippedLimits("sm-upc");
  test::Drawn drawn = test::Draw(face);
  const auto count = [&] {
    return DetectRegions(test::FlattenDrawn(drawn, limits)).regions.size();
  };
  EXPECT_EQ(count(), 2U);
  drawn.frame.block_step = 4.0;  // as of a JPEG of quality 25
  EXPECT_EQ(count(), 1U);
}

// A core that nobody located: what is as faint, round, of its size and in the middle is no dirt.
TEST(DetectRegions, TakesAFaintPatchInTheMiddleForTheCoreAndNoOther) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const auto count = [&](const test::DrawnFace& face) {
    test::Drawn drawn = test::Draw(face);
    drawn.fibre.core.reset();
    return DetectRegions(test::FlattenDrawn(drawn, limits)).regions.size();
  };
  test::DrawnFace face;
  face.core = 1.05 * face.glass;
  EXPECT_EQ(count(face), 0U);
  face.discs = {{{0, 0}, 2.5, -0.3}};
  EXPECT_EQ(count(face), 1U);
  face.core = face.glass;
  face.discs = {{{2.5, 0}, 9.0, 0.05}};
  EXPECT_EQ(count(face), 1U);
}

// The steps of a slow change of light run far and straight over glass without noise. With a coarse
// ferrule at their ends they looked like scratches.
TEST(DetectRegions, TakesNoStepOfRoundingForAScratchBecauseOfTheGrainBesideIt) {
  for (std::uint64_t seed = 1; seed < 7; ++seed) {
    test::DrawnFace face;
    face.seed = seed;
    face.noise = 0;
    face.grain = 22;
    face.glass = 78;
    face.ferrule = 184;
    face.tilt_of_light = 0.12 + 0.02 * static_cast<double>(seed);
    for (const Feature& f : test::FeaturesOn(face)) EXPECT_GT(f.zone, 1) << f.size_um;
  }
}

// Nothing on the face can look sharper than the lens.
TEST(DetectRegions, LeavesOutHotPixelsButNoSpeckHoweverSmall) {
  test::DrawnFace face;
  face.blur_um = 0.8;
  face.discs = {{{25, 10}, 0.8, 1.5}, {{-25, -10}, 0.8, -0.9}};
  const Limits limits = test::ShippedLimits("sm-upc");
  test::Drawn drawn = test::Draw(face);
  const auto count = [&] {
    return DetectRegions(test::FlattenDrawn(drawn, limits)).regions.size();
  };
  ASSERT_EQ(count(), 2U);
  for (const cv::Point2d um : {cv::Point2d(0, 30), cv::Point2d(-15, 18), cv::Point2d(80, 40)}) {
    const cv::Point2d px = drawn.scale.ToPx(um);
    drawn.frame.luma.at<uchar>(cvRound(px.y), cvRound(px.x)) = 250;
  }
  EXPECT_EQ(count(), 2U);
}

// Most of it lies outside the contact zone, and it fills the surround of any matched filter.
TEST(DetectRegions, SeesAWideStainThatTheOuterBorderCuts) {
  test::DrawnFace face;
  face.discs = {{{0, 134}, 74.0, -0.07}};
  const std::vector<Feature> features = test::FeaturesOn(face);
  ASSERT_EQ(features.size(), 1U);
  EXPECT_EQ(features[0].kind, FeatureKind::kDefect);
  EXPECT_GT(features[0].size_um, 45.0);
}

TEST(DetectRegions, SeesAChipInTheRim) {
  test::DrawnFace face;
  face.discs = {{{61.5, 0}, 7.0, -0.6}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  const auto regions = DetectRegions(map).regions;
  EXPECT_TRUE(std::any_of(regions.begin(), regions.end(), [&](const Region& region) {
    const cv::Vec2d um = map.um_from_cell * cv::Vec2d(region.peak.x - map.centre_cell.x,
                                                      region.peak.y - map.centre_cell.y);
    return std::hypot(um[0] - 61.5, um[1]) < 3.5;
  }));
}

// Polishing leaves bundles: lines so close that their surrounds overlap are scratches all the same,
// each as narrow as it is.
TEST(DetectRegions, SeesTheScratchesOfABundleEachByItself) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  for (int i = 0; i < 14; ++i) {
    const double off = -40.0 + 5.0 * i;
    const double from = -30.0 + 4.0 * (i * 7 % 5);
    const double length = 56.0 - 6.0 * (i % 3);
    face.lines.push_back(
        {{from, off}, {from + length, off + 0.2 * length}, 0.8, i % 3 == 0 ? -0.35 : -0.25});
  }
  const auto features = test::FeaturesOn(face);
  size_t scratches = 0;
  for (const Feature& feature : features) {
    scratches += feature.kind == FeatureKind::kScratch ? 1 : 0;
    EXPECT_LT(feature.size_um, 3.0);
  }
  EXPECT_GE(scratches, 13U);
}

}  // namespace
}  // namespace endgrade
