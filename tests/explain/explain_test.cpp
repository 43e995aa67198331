#include "endgrade/explain.h"

#include "endgrade/render.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/core.hpp>

#include <cmath>

namespace endgrade {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;

// A face with a scratch, a large defect that breaks a rule and a small one that is allowed, all on
// the cladding (zone B of sm-upc), drawn by the renderer, whose truth is what was asked for.
SceneDescription Scene() {
  SceneDescription scene;
  scene.seed = 71;
  scene.camera.width_px = 1100;
  scene.camera.height_px = 1100;
  scene.features.resize(3);
  scene.features[0].shape = FeatureShape::kSpeck;
  scene.features[0].centre_um = {35, 5};
  scene.features[0].diameter_um = 8;
  scene.features[1].shape = FeatureShape::kSpeck;
  scene.features[1].centre_um = {-5, 38};
  scene.features[1].diameter_um = 3.2;
  scene.features[2].shape = FeatureShape::kScratch;
  scene.features[2].centre_um = {-30, -22};
  scene.features[2].length_um = 40;
  scene.features[2].width_um = 2.0;
  scene.features[2].angle_deg = 30;
  scene.features[2].contrast = -0.4;
  return scene;
}

class ExplainTest : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    const auto rendered = RenderScene(Scene());
    ASSERT_TRUE(rendered.ok());
    frame_ = new Frame;
    cv::extractChannel(rendered->picture, frame_->luma, 0);
    frame_->path = "faces/port-07.png";
    limits_ = new Limits(*FindLimits("sm-upc"));
    workings_ = new Workings;
    grade_ = new Grade(*GradeFrame(*frame_, *limits_, options_, workings_));
  }
  static void TearDownTestSuite() {
    delete grade_;
    delete workings_;
    delete limits_;
    delete frame_;
  }

  static GradedPicture Picture() { return {*frame_, *limits_, options_, *grade_, *workings_}; }
  static const FibreGrade& Fibre() { return grade_->fibres.front(); }

  // The feature nearest to a place of the scene.
  static const Feature& At(cv::Point2d place_um) {
    const Feature* best = nullptr;
    for (const Feature& feature : Fibre().features) {
      const auto away = [&](const Feature& f) {
        return std::hypot(f.centre_um.x - place_um.x, f.centre_um.y - place_um.y);
      };
      if (!best || away(feature) < away(*best)) best = &feature;
    }
    return *best;
  }

  static inline const GradeOptions options_;
  static inline Frame* frame_ = nullptr;
  static inline Limits* limits_ = nullptr;
  static inline Workings* workings_ = nullptr;
  static inline Grade* grade_ = nullptr;
};

TEST_F(ExplainTest, EveryFeatureHasItsOwnRegionAsEvidence) {
  ASSERT_GE(Fibre().features.size(), 3U);
  std::vector<std::size_t> regions;
  for (const Feature& feature : Fibre().features) {
    const auto evidence = FindEvidence(Picture(), feature.id);
    ASSERT_TRUE(evidence.ok()) << evidence.error().Text();
    EXPECT_EQ(Fibre().features[evidence->feature].id, feature.id);
    EXPECT_EQ(workings_->detection.regions[evidence->region].snr, feature.snr);
    regions.push_back(evidence->region);
  }
  std::sort(regions.begin(), regions.end());
  EXPECT_EQ(std::adjacent_find(regions.begin(), regions.end()), regions.end());
}

TEST_F(ExplainTest, AskingForTheWorkingsChangesNothing) {
  const auto plain = GradeFrame(*frame_, *limits_, options_);
  ASSERT_TRUE(plain.ok());
  ASSERT_EQ(plain->fibres.front().features.size(), Fibre().features.size());
  for (std::size_t i = 0; i < Fibre().features.size(); ++i) {
    EXPECT_EQ(plain->fibres.front().features[i].size_um, Fibre().features[i].size_um);
  }
}

// The response that is shown is the one that the search saw: nothing else was there to be taken out
// before it at this scale.
TEST_F(ExplainTest, ShownResponseOverNoiseIsTheSignalToNoiseOfTheRecord) {
  const Feature& speck = At({-5, 38});
  const auto evidence = FindEvidence(Picture(), speck.id);
  ASSERT_TRUE(evidence.ok());
  EXPECT_EQ(evidence->threshold_sigma, DetectOptions{}.threshold_sigma);
  constexpr double kShare = 0.02;
  EXPECT_NEAR(std::abs(evidence->response) / evidence->noise, speck.snr, kShare * speck.snr);
}

// A disc: every way through its middle is a diameter, as long as the circle around its border. The
// border's points lie on the lines of the grid only; between them the profile, which goes through
// cells, may reach out by half a cell at either end.
TEST_F(ExplainTest, ProfileAcrossADiscIsAsWideAsTheCircleAroundItsBorder) {
  const auto evidence = FindEvidence(Picture(), At({35, 5}).id);
  ASSERT_TRUE(evidence.ok());
  const ProfileAcross& profile = evidence->profile;
  ASSERT_EQ(profile.border_um.size(), 2U);
  const double cell_um = workings_->contrast.um_per_cell;
  const double across = profile.border_um[1] - profile.border_um[0];
  EXPECT_LE(across, evidence->seen_diameter_um + 2 * 0.5 * cell_um);
  EXPECT_GE(across, 0.85 * evidence->seen_diameter_um);
  EXPECT_NEAR(evidence->seen_diameter_um, 8.0, 0.8);  // the disc of the scene
}

TEST_F(ExplainTest, ProfileOfAScratchShowsTheBarThatExplainsIt) {
  const Feature& scratch = At({-30, -22});
  ASSERT_EQ(scratch.kind, FeatureKind::kScratch);
  const auto evidence = FindEvidence(Picture(), scratch.id);
  ASSERT_TRUE(evidence.ok());
  const ProfileAcross& profile = evidence->profile;
  ASSERT_EQ(profile.model.size(), profile.level.size());
  ASSERT_EQ(profile.border_um.size(), 2U);
  EXPECT_NEAR(profile.border_um[1] - profile.border_um[0], scratch.size_um, 0.01);
  double misfit = 0;
  double deepest = 0;
  for (std::size_t i = 0; i < profile.level.size(); ++i) {
    misfit += std::pow(profile.level[i] - profile.model[i], 2);
    deepest = std::min(deepest, profile.level[i]);
  }
  misfit = std::sqrt(misfit / static_cast<double>(profile.level.size()));
  EXPECT_LT(misfit, 0.1 * std::abs(deepest));
}

TEST_F(ExplainTest, WordsNameTheBrokenRuleWithItsMarginAndTheSize) {
  const Feature& large = At({35, 5});
  ASSERT_THAT(large.breaks, ::testing::ElementsAre("b-defects-over-5"));
  const auto evidence = FindEvidence(Picture(), large.id);
  ASSERT_TRUE(evidence.ok());
  const std::string words = ExplainFeature(Picture(), *evidence);
  char size[32];
  std::snprintf(size, sizeof size, "%.2f um +/- %.2f", large.size_um, large.size_uncertainty_um);
  char margin[64];
  std::snprintf(margin, sizeof margin, "%.2f um above 5 um", large.size_um - 5);
  EXPECT_THAT(words,
              AllOf(HasSubstr(size), HasSubstr(margin), HasSubstr("BROKEN"), HasSubstr("Zone: B")));
  EXPECT_THAT(words, HasSubstr("Rule b-defects-over-5 (none over 5 um): it is counted here"));
  EXPECT_THAT(words, HasSubstr("threshold is 5.5"));
}

TEST_F(ExplainTest, WordsOfAnAllowedFeatureBreakNothing) {
  const auto evidence = FindEvidence(Picture(), At({-5, 38}).id);
  ASSERT_TRUE(evidence.ok());
  const std::string words = ExplainFeature(Picture(), *evidence);
  EXPECT_THAT(words, AllOf(HasSubstr("1 found, 5 allowed: met"), Not(HasSubstr(": BROKEN\n"))));
}

TEST_F(ExplainTest, WhatBreaksARuleIsWorthASheetAndNothingElse) {
  std::vector<int> broken;
  for (const Feature& feature : Fibre().features) {
    if (!feature.breaks.empty()) broken.push_back(feature.id);
  }
  ASSERT_FALSE(broken.empty());
  EXPECT_EQ(FeaturesWorthExplaining(Picture()), broken);
}

TEST_F(ExplainTest, WithoutABrokenRuleTheLargestAreWorthASheet) {
  Grade allowed = *grade_;
  for (Feature& feature : allowed.fibres.front().features) feature.breaks.clear();
  const GradedPicture picture{*frame_, *limits_, options_, allowed, *workings_};
  const auto ids = FeaturesWorthExplaining(picture, 1);
  ASSERT_EQ(ids.size(), 1U);
  EXPECT_EQ(ids.front(), At({35, 5}).id);
}

TEST_F(ExplainTest, UnknownNumberIsAnErrorThatNamesThoseThereAre) {
  const auto evidence = FindEvidence(Picture(), 999);
  ASSERT_FALSE(evidence.ok());
  EXPECT_THAT(evidence.error().Text(),
              AllOf(HasSubstr("no feature 999"),
                    HasSubstr("1 to " + std::to_string(Fibre().features.size()))));
}

TEST_F(ExplainTest, WorkingsOfAnotherGradeAreRefused) {
  const Workings none;
  const GradedPicture picture{*frame_, *limits_, options_, *grade_, none};
  EXPECT_FALSE(FindEvidence(picture, 1).ok());
}

TEST_F(ExplainTest, SheetsAreTheSameTwiceAndShowThePhotographAsItIs) {
  const auto evidence = FindEvidence(Picture(), At({35, 5}).id);
  ASSERT_TRUE(evidence.ok());
  const cv::Mat first = DrawFeatureSheet(Picture(), *evidence);
  const cv::Mat second = DrawFeatureSheet(Picture(), *evidence);
  EXPECT_EQ(first.cols, kSheetWidth);
  ASSERT_EQ(first.size(), second.size());
  EXPECT_EQ(cv::norm(first, second, cv::NORM_INF), 0);
  EXPECT_EQ(DrawFaceSheet(Picture()).cols, kSheetWidth);
}

TEST(ExplainNoFibre, SaysSoInWordsAndOnTheSheet) {
  Frame frame;
  frame.luma = cv::Mat(240, 320, CV_8UC1, cv::Scalar(90));
  const auto limits = FindLimits("sm-upc");
  const GradeOptions options;
  Workings workings;
  const auto grade = GradeFrame(frame, *limits, options, &workings);
  ASSERT_TRUE(grade.ok());
  const GradedPicture picture{frame, *limits, options, *grade, workings};
  EXPECT_FALSE(FindEvidence(picture, 1).ok());
  EXPECT_TRUE(FeaturesWorthExplaining(picture).empty());
  EXPECT_THAT(ExplainFace(picture), HasSubstr("CANNOT GRADE"));
  EXPECT_EQ(DrawFaceSheet(picture).cols, kSheetWidth);
}

}  // namespace
}  // namespace endgrade
