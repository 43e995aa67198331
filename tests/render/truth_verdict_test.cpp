#include "endgrade/render.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace endgrade {
namespace {

using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::UnorderedElementsAre;

// Sharp, bright, large enough: nothing stands in a grader's way.
SceneDescription ClearScene() {
  SceneDescription scene;
  scene.camera.width_px = 700;
  scene.camera.height_px = 660;
  scene.camera.um_per_px = 0.4;
  scene.face.glass_level = 0.5;
  scene.face.grain_rms = 0.03;
  return scene;
}

SceneTruth TruthOf(const SceneDescription& scene) {
  auto rendered = RenderScene(scene);
  EXPECT_TRUE(rendered.ok());
  return rendered->truth;
}

SceneFeature Speck(cv::Point2d centre_um, double diameter_um) {
  SceneFeature f;
  f.centre_um = centre_um;
  f.diameter_um = diameter_um;
  f.contrast = -0.6;
  return f;
}

SceneFeature Scratch(cv::Point2d centre_um, double width_um) {
  SceneFeature f;
  f.shape = FeatureShape::kScratch;
  f.centre_um = centre_um;
  f.width_um = width_um;
  f.length_um = 50;
  f.angle_deg = 90;
  f.contrast = -0.5;
  return f;
}

TEST(Truth, CleanFacePasses) {
  const SceneTruth truth = TruthOf(ClearScene());
  EXPECT_EQ(truth.gradable, Gradable::kYes);
  EXPECT_FALSE(truth.borderline);
  EXPECT_THAT(truth.acceptable, ElementsAre("pass"));
  EXPECT_THAT(truth.features, IsEmpty());
}

TEST(Truth, SpeckOnTheCoreFailsUpc) {
  SceneDescription scene = ClearScene();
  scene.features = {Speck({3, 1}, 3)};
  const SceneTruth truth = TruthOf(scene);
  EXPECT_THAT(truth.acceptable, ElementsAre("fail"));
  EXPECT_THAT(truth.broken, ElementsAre("A defect any"));
  EXPECT_EQ(truth.features.at(0).zone, "A");
  EXPECT_GT(truth.features.at(0).snr, 12);
}

TEST(Truth, FiveSpecksOfThreePassAndSixFail) {
  SceneDescription scene = ClearScene();
  for (int i = 0; i < 5; ++i) scene.features.push_back(Speck({-30.0 + 15 * i, 30}, 3.5));
  EXPECT_THAT(TruthOf(scene).acceptable, ElementsAre("pass"));
  scene.features.push_back(Speck({0, -40}, 3.5));
  const SceneTruth truth = TruthOf(scene);
  EXPECT_THAT(truth.acceptable, ElementsAre("fail"));
  EXPECT_THAT(truth.broken, ElementsAre("B defect 2 to 5"));
}

TEST(Truth, ScratchBelongsWholeToTheInnermostZoneItTouches) {
  SceneDescription scene = ClearScene();
  SceneFeature long_scratch = Scratch({8, 20}, 1);
  long_scratch.length_um = 180;
  scene.features = {long_scratch};
  const SceneTruth truth = TruthOf(scene);
  EXPECT_EQ(truth.features.at(0).zone, "A");
  EXPECT_NEAR(truth.features.at(0).radius_inner_um, 7.5, 1e-9);
  EXPECT_THAT(truth.acceptable, ElementsAre("fail"));
}

TEST(Truth, WidthNearItsLimitIsBorderline) {
  SceneDescription scene = ClearScene();
  scene.features = {Scratch({30, 0}, 2.8)};
  const SceneTruth near = TruthOf(scene);
  EXPECT_TRUE(near.borderline);
  EXPECT_THAT(near.acceptable, ElementsAre("pass", "fail"));
  EXPECT_THAT(near.borderline_because, Contains(HasSubstr("near a rule's edge")));
  scene.features = {Scratch({30, 0}, 1.2)};
  EXPECT_FALSE(TruthOf(scene).borderline);
  scene.features = {Scratch({30, 0}, 5)};
  EXPECT_THAT(TruthOf(scene).acceptable, ElementsAre("fail"));
}

TEST(Truth, WhatNobodyCouldSeeIsBorderline) {
  SceneDescription scene = ClearScene();
  SceneFeature faint = Speck({0, 0}, 2);
  faint.contrast = -0.01;
  scene.features = {faint};
  const SceneTruth truth = TruthOf(scene);
  EXPECT_EQ(truth.face_verdict, TrueVerdict::kFail);
  EXPECT_LT(truth.features.at(0).snr, 5);
  EXPECT_THAT(truth.acceptable, UnorderedElementsAre("pass", "fail"));
  EXPECT_THAT(truth.borderline_because, Contains(HasSubstr("may not be seen")));
}

TEST(Truth, SpeckOnAZoneBorderIsBorderline) {
  SceneDescription scene = ClearScene();
  scene.features = {Speck({14.9, 0}, 4)};  // its inner edge at 12.9, zone A ends at 12.5
  const SceneTruth truth = TruthOf(scene);
  EXPECT_EQ(truth.features.at(0).zone, "B");
  EXPECT_TRUE(truth.borderline);
}

TEST(Truth, SpecksThatBlendAreNoted) {
  SceneDescription scene = ClearScene();
  scene.features = {Speck({30, 0}, 3.5), Speck({34.5, 0}, 3.5), Speck({-30, 0}, 3.5)};
  const SceneTruth truth = TruthOf(scene);
  EXPECT_THAT(truth.features.at(0).touches, ElementsAre(2));
  EXPECT_THAT(truth.features.at(1).touches, ElementsAre(1));
  EXPECT_THAT(truth.features.at(2).touches, IsEmpty());
  EXPECT_TRUE(truth.borderline);  // as one, 8 um: not allowed
}

TEST(Truth, PicturesThatCannotBeGradedAreTold) {
  SceneDescription blurred = ClearScene();
  blurred.camera.defocus_um = 20;
  EXPECT_THAT(TruthOf(blurred).acceptable, ElementsAre("ungradable"));
  EXPECT_THAT(TruthOf(blurred).ungradable_because, Contains("out of focus"));

  SceneDescription empty = ClearScene();
  empty.fibre.present = false;
  EXPECT_THAT(TruthOf(empty).acceptable, ElementsAre("ungradable"));
  EXPECT_FALSE(TruthOf(empty).cladding);

  SceneDescription cut = ClearScene();
  cut.camera.centre_offset_px = {300, 0};
  EXPECT_THAT(TruthOf(cut).ungradable_because, Contains("zone D is cut off"));

  SceneDescription glaring = ClearScene();
  glaring.camera.exposure = 4;
  EXPECT_THAT(TruthOf(glaring).ungradable_because, Contains("zone A is saturated"));

  SceneDescription dark = ClearScene();
  dark.camera.exposure = 0.003;
  EXPECT_THAT(TruthOf(dark).ungradable_because, Contains("too little signal in zone A"));

  SceneDescription small = ClearScene();
  small.camera.um_per_px = 3;
  EXPECT_THAT(TruthOf(small).ungradable_because, Contains("too small"));
}

TEST(Truth, ShadowsAndLettersOnTheFaceLeaveItOpen) {
  SceneDescription dirty = ClearScene();
  dirty.camera.lens_dirt = 50;
  EXPECT_EQ(TruthOf(dirty).gradable, Gradable::kUncertain);
  EXPECT_THAT(TruthOf(dirty).acceptable, ElementsAre("pass", "ungradable"));
  SceneDescription lettered = ClearScene();
  lettered.camera.caption = "PORT 7";
  EXPECT_EQ(TruthOf(lettered).gradable, Gradable::kYes);  // in the corner
  lettered.camera.centre_offset_px = {-30, 15};
  lettered.camera.caption = std::string(40, 'M');
  EXPECT_THAT(TruthOf(lettered).ungradable_because, Contains("a caption lies on the face"));
}

// "What is seen is enough": a cut-off face with a speck on its core may be failed.
TEST(Truth, CutOffFaceWithASureFailureMayFail) {
  SceneDescription scene = ClearScene();
  scene.camera.centre_offset_px = {200, 0};
  scene.features = {Speck({0, 0}, 6)};
  EXPECT_THAT(TruthOf(scene).acceptable, ElementsAre("fail", "ungradable"));
}

}  // namespace
}  // namespace endgrade
