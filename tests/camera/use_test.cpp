#include "endgrade/grade_image.h"
#include "tests/camera/camera_scenes.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

using ::testing::Contains;
using ::testing::Field;
using testing::FrameOf;
using ::testing::HasSubstr;

constexpr double kUmPerPx = 0.30;

// A clean face in the middle of the view: passes without a profile.
SceneDescription CleanScene() {
  SceneDescription scene;
  scene.seed = 8301;
  scene.camera.width_px = 1100;
  scene.camera.height_px = 1000;
  scene.camera.um_per_px = kUmPerPx;
  return scene;
}

// Drawn once: most tests begin with it. A copy of its pixels, to be changed at will.
Frame CleanFrame() {
  static const Frame kDrawn = FrameOf(CleanScene());
  Frame frame = kDrawn;
  frame.luma = kDrawn.luma.clone();
  return frame;
}

cv::Point2d PxOf(cv::Point2d um) {
  return {0.5 * (1100 - 1) + um.x / kUmPerPx, 0.5 * (1000 - 1) + um.y / kUmPerPx};
}

CameraProfile PlainProfile() {
  CameraProfile profile;
  profile.id = "bench-scope";
  profile.picture_px = {1100, 1000};
  profile.um_per_px = {kUmPerPx, 0.003};
  profile.dirt_known = true;
  return profile;
}

// The shadow of dust or of soft dirt, laid over a picture and known to the profile.
struct Shadow {
  cv::Point2d at_um;
  double radius_um = 2;
  double depth = 0.4;
};

double LightAt(const Shadow& shadow, cv::Point2d p_px) {
  const double r = cv::norm(p_px - PxOf(shadow.at_um)) * kUmPerPx / shadow.radius_um;
  return 1 - shadow.depth / (1 + std::pow(r, 6));
}

Frame Shadowed(const Frame& face, const std::vector<Shadow>& shadows) {
  Frame frame = face;
  frame.luma = face.luma.clone();
  for (int y = 0; y < frame.luma.rows; ++y) {
    for (int x = 0; x < frame.luma.cols; ++x) {
      double light = 1;
      for (const Shadow& shadow : shadows) light *= LightAt(shadow, cv::Point2d(x, y));
      auto& value = frame.luma.at<std::uint8_t>(y, x);
      value = cv::saturate_cast<std::uint8_t>(value * light);
    }
  }
  return frame;
}

Frame Shadowed(const SceneDescription& scene, const std::vector<Shadow>& shadows) {
  return Shadowed(FrameOf(scene), shadows);
}

FixedDirt Hidden(const Shadow& shadow) {
  FixedDirt dirt;
  dirt.centre_px = PxOf(shadow.at_um);
  dirt.diameter_px = 2 * shadow.radius_um / kUmPerPx;
  dirt.transmission = 1 - shadow.depth;
  for (int i = 0; i < 16; ++i) {
    const double turn = 2 * CV_PI * i / 16;
    dirt.outline_px.emplace_back(
        PxOf(shadow.at_um + 1.9 * shadow.radius_um * cv::Point2d(std::cos(turn), std::sin(turn))));
  }
  return dirt;
}

FixedDirt Divided(const Shadow& shadow) {
  FixedDirt dirt = Hidden(shadow);
  dirt.outline_px.clear();
  dirt.divided = true;
  dirt.grid_step_px = 4;
  const int half = static_cast<int>(3 * shadow.radius_um / kUmPerPx / dirt.grid_step_px);
  dirt.grid_origin_px = dirt.centre_px - dirt.grid_step_px * cv::Point2d(half, half);
  dirt.grid = cv::Mat(2 * half + 1, 2 * half + 1, CV_32FC1);
  for (int y = 0; y < dirt.grid.rows; ++y) {
    for (int x = 0; x < dirt.grid.cols; ++x) {
      dirt.grid.at<float>(y, x) = static_cast<float>(
          LightAt(shadow, dirt.grid_origin_px + dirt.grid_step_px * cv::Point2d(x, y)));
    }
  }
  return dirt;
}

Grade Graded(const Frame& frame, const CameraProfile& profile) {
  GradeOptions options;
  options.camera = std::make_shared<const CameraProfile>(profile);
  auto grade = GradeFrame(frame, *FindLimits("sm-upc"), options);
  if (!grade.ok()) ADD_FAILURE() << grade.error().Text();
  return grade.ok() ? *std::move(grade) : Grade{};
}

Grade GradedWithout(const Frame& frame) { return *GradeFrame(frame, *FindLimits("sm-upc")); }

bool HasCode(const std::vector<Reason>& reasons, const std::string& code) {
  return std::any_of(
      reasons.begin(), reasons.end(), [&](const Reason& reason) { return reason.code == code; });
}

// Distance from a place to the nearest feature's centre, um.
double NearestFeature(const Grade& grade, cv::Point2d at_um) {
  double nearest = 1e9;
  for (const Feature& feature : grade.fibres.at(0).features) {
    nearest = std::min(nearest, cv::norm(feature.centre_um - at_um));
  }
  return nearest;
}

SceneFeature Speck(cv::Point2d at_um, double diameter_um) {
  SceneFeature speck;
  speck.centre_um = at_um;
  speck.diameter_um = diameter_um;
  speck.contrast = -0.6;
  return speck;
}

TEST(UseCamera, ACleanFacePassesWithAProfileThatKnowsNoDirt) {
  const Grade grade = Graded(CleanFrame(), PlainProfile());
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  ASSERT_TRUE(grade.camera);
  EXPECT_EQ(grade.camera->id, "bench-scope");
  EXPECT_TRUE(grade.camera->removed.empty());
  EXPECT_EQ(grade.fibres[0].scale.source, ScaleSource::kProfile);
  EXPECT_EQ(grade.fibres[0].scale.um_per_px, kUmPerPx);
  EXPECT_EQ(grade.fibres[0].scale.um_per_px_uncertainty, 0.003);
}

// Under 5 um of the contact zone, where 10 um matters, and far from a 200th of it.
TEST(UseCamera, DustOverTheContactZoneIsNotDirtOnTheFace) {
  const Shadow dust{{85, 30}, 1.2, 0.5};
  const Frame frame = Shadowed(CleanScene(), {dust});
  EXPECT_LT(NearestFeature(GradedWithout(frame), dust.at_um), 1.5);
  CameraProfile profile = PlainProfile();
  profile.dirt = {Hidden(dust)};
  const Grade grade = Graded(frame, profile);
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  EXPECT_GT(NearestFeature(grade, dust.at_um), 5);
  ASSERT_EQ(grade.camera->removed.size(), 1U);
  EXPECT_FALSE(grade.camera->removed[0].divided);
  EXPECT_EQ(grade.camera->removed[0].zone, 3);
}

// The zone's area is pi (125^2 - 67.5^2) um^2; what is hidden is the outline's own area.
TEST(UseCamera, WhatIsHiddenLeavesTheZonesInViewFraction) {
  const Shadow dust{{85, 30}, 1.2, 0.5};
  CameraProfile profile = PlainProfile();
  profile.dirt = {Hidden(dust)};
  const Grade grade = Graded(Shadowed(CleanScene(), {dust}), profile);
  const double hidden_um2 = cv::contourArea(profile.dirt[0].outline_px) * kUmPerPx * kUmPerPx;
  const double share = hidden_um2 / (CV_PI * (125.0 * 125.0 - 67.5 * 67.5));
  EXPECT_NEAR(1 - grade.fibres[0].zones[3].in_view_fraction, share, 0.2 * share);
  EXPECT_EQ(grade.fibres[0].zones[1].in_view_fraction, 1.0);
}

TEST(UseCamera, DustOverTheCladdingForbidsAPassAndSaysWhatToDo) {
  const Shadow dust{{30, 10}, 1.5, 0.5};
  CameraProfile profile = PlainProfile();
  profile.dirt = {Hidden(dust)};
  const Grade grade = Graded(Shadowed(CleanScene(), {dust}), profile);
  EXPECT_EQ(grade.verdict, Verdict::kUngradable);
  ASSERT_TRUE(HasCode(grade.reasons, "optics_dirt"));
  EXPECT_THAT(grade.reasons, Contains(Field(&Reason::text, HasSubstr("clean the optics"))));
}

// The worst that could happen: a defect that must fail exactly where the profile hides dust, wholly
// or in part. In zones A and B whatever is hidden forbids a pass; in D defects over 10 um fail.
TEST(UseCamera, NoDefectPassesUnderWhatIsHidden) {
  for (const cv::Point2d at_um : {cv::Point2d(2, 3), {-20, -40}, {85, 30}, {-60, 80}}) {
    const bool contact = cv::norm(at_um) > 60;
    for (const double diameter_um :
         contact ? std::vector{10.8, 14.0, 25.0} : std::vector{2.5, 9.0}) {
      for (const double aside_um : {0.0, 0.5 * diameter_um}) {
        SceneDescription scene = CleanScene();
        scene.features = {Speck(at_um + cv::Point2d(aside_um, 0), diameter_um)};
        const Frame face = FrameOf(scene);
        for (const double dust_um : {0.8, 1.25, 3.0}) {
          const Shadow dust{at_um, dust_um, 0.5};
          CameraProfile profile = PlainProfile();
          profile.dirt = {Hidden(dust)};
          EXPECT_NE(Graded(Shadowed(face, {dust}), profile).verdict, Verdict::kPass)
              << at_um << " defect " << diameter_um << " dust " << dust_um << " aside " << aside_um;
        }
      }
    }
  }
}

TEST(UseCamera, AFeatureBesideWhatIsHiddenCountsAsCutOff) {
  const Shadow dust{{85, 30}, 1.2, 0.5};
  SceneDescription scene = CleanScene();
  scene.features = {Speck({85 + 3.6, 30}, 6)};
  CameraProfile profile = PlainProfile();
  profile.dirt = {Hidden(dust)};
  const Grade grade = Graded(Shadowed(scene, {dust}), profile);
  EXPECT_THAT(grade.fibres[0].features, Contains(Field(&Feature::cut_by_frame, true)));
  EXPECT_NE(grade.verdict, Verdict::kPass);
}

// The stop of the microscope hides what lies beyond it, with a camera profile or without.
TEST(FieldStop, ADefectThatItCutsMayBeLargerThanIsSeen) {
  constexpr double kStopUm = 121;
  SceneDescription scene = CleanScene();
  scene.features = {Speck({kStopUm - 3, 0}, 9)};
  Frame frame = FrameOf(scene);
  for (int y = 0; y < frame.luma.rows; ++y) {
    for (int x = 0; x < frame.luma.cols; ++x) {
      const bool hidden = cv::norm(cv::Point2d(x, y) - PxOf({0, 0})) * kUmPerPx > kStopUm;
      if (hidden) frame.luma.at<std::uint8_t>(y, x) = 1;
    }
  }
  const Grade grade = GradedWithout(frame);
  EXPECT_THAT(grade.fibres[0].features, Contains(Field(&Feature::cut_by_frame, true)));
  EXPECT_EQ(grade.verdict, Verdict::kUngradable);
  EXPECT_TRUE(HasCode(grade.reasons, "feature_cut_off"));
}

TEST(UseCamera, ASoftShadowIsDividedOutAndTheFaceStillPasses) {
  const Shadow soft{{-25, 20}, 9, 0.12};
  const Frame frame = Shadowed(CleanScene(), {soft});
  EXPECT_NE(GradedWithout(frame).verdict, Verdict::kPass);  // it looks like a film
  CameraProfile profile = PlainProfile();
  profile.dirt = {Divided(soft)};
  const Grade grade = Graded(frame, profile);
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  ASSERT_EQ(grade.camera->removed.size(), 1U);
  EXPECT_TRUE(grade.camera->removed[0].divided);
  EXPECT_EQ(grade.fibres[0].zones[1].in_view_fraction, 1.0);
}

TEST(UseCamera, ADefectUnderASoftShadowStillFails) {
  const Shadow soft{{-25, 20}, 9, 0.12};
  for (const double aside : {0.0, 4.0, 9.0}) {
    SceneDescription scene = CleanScene();
    scene.features = {Speck(soft.at_um + cv::Point2d(aside, 0), 7)};
    CameraProfile profile = PlainProfile();
    profile.dirt = {Divided(soft)};
    const Grade grade = Graded(Shadowed(scene, {soft}), profile);
    EXPECT_EQ(grade.verdict, Verdict::kFail) << aside;
    EXPECT_LT(NearestFeature(grade, scene.features[0].centre_um), 1.0) << aside;
  }
}

// The optics were cleaned: dividing would paint a bright patch, or whiten a film of the same shape.
TEST(UseCamera, AShadowThatIsGoneIsNotDividedOutAndThatIsSaid) {
  const Shadow soft{{-25, 20}, 9, 0.12};
  CameraProfile profile = PlainProfile();
  profile.dirt = {Divided(soft)};
  const Grade grade = Graded(CleanFrame(), profile);
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  EXPECT_TRUE(HasCode(grade.warnings, "camera_changed"));
  EXPECT_TRUE(grade.camera->removed.empty());
}

TEST(UseCamera, TheFlatFieldIsDividedOut) {
  CameraProfile profile = PlainProfile();
  profile.flat = FlatField{{0.2, -0.1, 0, 0, -0.2, 0}};
  Frame frame = CleanFrame();
  for (int y = 0; y < frame.luma.rows; ++y) {
    for (int x = 0; x < frame.luma.cols; ++x) {
      auto& value = frame.luma.at<std::uint8_t>(y, x);
      value = cv::saturate_cast<std::uint8_t>(value *
                                              profile.flat->At(cv::Point2d(x, y), {1100, 1000}));
    }
  }
  Workings flat;
  GradeOptions options;
  options.camera = std::make_shared<const CameraProfile>(profile);
  ASSERT_TRUE(GradeFrame(frame, *FindLimits("sm-upc"), options, &flat).ok());
  Workings plain;
  options.camera = std::make_shared<const CameraProfile>(PlainProfile());
  ASSERT_TRUE(GradeFrame(CleanFrame(), *FindLimits("sm-upc"), options, &plain).ok());
  ASSERT_EQ(flat.contrast.level.size(), plain.contrast.level.size());
  cv::Mat apart;
  cv::absdiff(flat.contrast.level, plain.contrast.level, apart);
  // Rounding to whole grey levels, over at least 0.7 of the light.
  EXPECT_LT(cv::mean(apart)[0], 0.5);
}

TEST(UseCamera, AProfileOfAnotherMagnificationForbidsAPass) {
  CameraProfile profile = PlainProfile();
  profile.um_per_px = {1.05 * kUmPerPx, 0.003};
  const Grade grade = Graded(CleanFrame(), profile);
  EXPECT_EQ(grade.verdict, Verdict::kUngradable);
  ASSERT_TRUE(HasCode(grade.reasons, "cladding_size"));
  EXPECT_THAT(grade.reasons, Contains(Field(&Reason::text, HasSubstr("camera profile"))));
}

TEST(UseCamera, AProfileOfAnotherPictureSizeIsAnErrorThatNamesBoth) {
  CameraProfile profile = PlainProfile();
  profile.picture_px = {1920, 1080};
  GradeOptions options;
  options.camera = std::make_shared<const CameraProfile>(profile);
  const auto grade = GradeFrame(CleanFrame(), *FindLimits("sm-upc"), options);
  ASSERT_FALSE(grade.ok());
  EXPECT_THAT(grade.error().Text(), HasSubstr("1100 x 1000"));
  EXPECT_THAT(grade.error().Text(), HasSubstr("1920 x 1080"));
}

// Pixels 5 % off square look like an oval cladding, until the profile says that they are.
TEST(UseCamera, KnownPixelAspectExplainsAnOvalCladding) {
  SceneDescription scene = CleanScene();
  scene.camera.pixel_aspect = 1.05;
  const Frame frame = FrameOf(scene);
  EXPECT_TRUE(HasCode(GradedWithout(frame).warnings, "cladding_oval"));
  CameraProfile profile = PlainProfile();
  profile.um_per_px = {kUmPerPx * std::sqrt(1.05), 0.003};
  profile.pixel_aspect = {1.05, 0.01};
  const Grade grade = Graded(frame, profile);
  EXPECT_FALSE(HasCode(grade.warnings, "cladding_oval"));
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  profile.pixel_aspect = {0.95, 0.01};
  EXPECT_TRUE(HasCode(Graded(frame, profile).warnings, "cladding_oval"));
}

}  // namespace
}  // namespace endgrade
