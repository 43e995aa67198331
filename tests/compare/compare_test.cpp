#include "endgrade/compare.h"

#include "endgrade/render.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <cmath>

namespace endgrade {
namespace {

using ::testing::HasSubstr;

// A face on a grey bench camera, drawn by the renderer, whose truth is what is asked for here.
SceneDescription Scene(double rotation_deg, std::uint64_t shot) {
  SceneDescription scene;
  scene.seed = 41;
  scene.face.grain_rms = 0.05;
  scene.camera.width_px = 720;
  scene.camera.height_px = 720;
  scene.camera.um_per_px = 0.38;
  scene.camera.rotation_deg = rotation_deg;
  scene.camera.shot = shot;
  return scene;
}

SceneFeature Speck(cv::Point2d centre_um, double diameter_um, double contrast = -0.7) {
  SceneFeature speck;
  speck.centre_um = centre_um;
  speck.diameter_um = diameter_um;
  speck.contrast = contrast;
  speck.opacity = 0.5;
  return speck;
}

SceneFeature Scratch(cv::Point2d centre_um, double angle_deg) {
  SceneFeature scratch;
  scratch.shape = FeatureShape::kScratch;
  scratch.centre_um = centre_um;
  scratch.length_um = 50;
  scratch.width_um = 2;
  scratch.angle_deg = angle_deg;
  scratch.contrast = -0.5;
  return scratch;
}

Frame FrameOf(const SceneDescription& scene) {
  const auto rendered = RenderScene(scene);
  EXPECT_TRUE(rendered.ok());
  Frame frame;
  cv::extractChannel(rendered->picture, frame.luma, 0);
  return frame;
}

ComparedFrames Compared(const std::vector<Frame>& frames) {
  static const Limits limits = *FindLimits("sm-upc");
  auto compared = CompareFrames(frames, limits);
  EXPECT_TRUE(compared.ok());
  return *std::move(compared);
}

const Registration& RegistrationOf(const ComparedFrames& compared) {
  return compared.comparison.pairs.front().registration;
}

// Fate of the thing nearest to a place of the first face that shows it, in its own micrometres.
const Track* TrackAt(const ComparedFrames& compared, std::size_t attempt, cv::Point2d place_um) {
  const Track* best = nullptr;
  double best_away = 3.0;  // a centre is never farther off than this
  for (const Track& track : compared.comparison.tracks) {
    if (!track.steps[attempt].feature) continue;
    const Feature& feature =
        compared.grades[attempt].fibres.front().features[*track.steps[attempt].feature];
    const double away = cv::norm(feature.centre_um - place_um);
    if (away < best_away) {
      best_away = away;
      best = &track;
    }
  }
  return best;
}

cv::Point2d Turned(cv::Point2d p, double degrees) {
  const double angle = degrees * CV_PI / 180;
  return {std::cos(angle) * p.x - std::sin(angle) * p.y,
          std::sin(angle) * p.x + std::cos(angle) * p.y};
}

TEST(RegisterAttempts, GrainAloneTellsTheRotation) {
  SceneDescription after = Scene(63, 2);
  after.camera.um_per_px = 0.45;  // another magnification
  after.camera.centre_offset_px = {14.3, -9.6};
  after.camera.light_slope = 0.3;
  after.camera.exposure = 0.8;
  const auto compared = Compared({FrameOf(Scene(0, 1)), FrameOf(after)});
  const Registration& r = RegistrationOf(compared);
  EXPECT_TRUE(r.rotation_known);
  EXPECT_EQ(r.source, RotationSource::kGrain);
  EXPECT_NEAR(r.rotation_deg, 63, 0.2);
  EXPECT_NEAR(r.scale_ratio, 0.45 / 0.38, 0.01);
  EXPECT_LT(cv::norm(r.shift_um), 0.5);
  EXPECT_FALSE(r.mirrored);
}

TEST(RegisterAttempts, MarksAloneTellTheRotation) {
  SceneDescription before = Scene(0, 1);
  before.face.grain_rms = 0;
  before.features = {
      Speck({40, 10}, 4), Speck({-20, 45}, 6), Speck({5, -52}, 5), Speck({-90, -30}, 8)};
  SceneDescription after = before;
  after.camera.rotation_deg = -131;
  after.camera.shot = 2;
  const auto compared = Compared({FrameOf(before), FrameOf(after)});
  const Registration& r = RegistrationOf(compared);
  EXPECT_TRUE(r.rotation_known) << r.margin << " " << r.grain_sigma << " " << r.grain_second_sigma
                                << " " << r.marks_log_odds << " " << r.marks_second_log_odds << " "
                                << r.rotation_deg << " " << r.num_common_marks;
  EXPECT_EQ(r.source, RotationSource::kMarks);
  EXPECT_GE(r.num_common_marks, 3);
  EXPECT_NEAR(r.rotation_deg, -131, 0.5);
}

TEST(RegisterAttempts, WithoutGrainAndMarksItIsUnknownAndSaysSo) {
  SceneDescription before = Scene(0, 1);
  before.face.grain_rms = 0;
  SceneDescription after = before;
  after.camera.rotation_deg = 40;
  after.camera.shot = 2;
  const auto compared = Compared({FrameOf(before), FrameOf(after)});
  EXPECT_FALSE(RegistrationOf(compared).rotation_known);
  EXPECT_THAT(RegistrationOf(compared).words, HasSubstr("cannot be known"));
  EXPECT_FALSE(compared.comparison.to_first[1].has_value());
  EXPECT_FALSE(RegistrationOf(compared).same_face_doubtful);  // no grain that could match
}

TEST(RegisterAttempts, AnotherFaceIsNotRegistered) {
  SceneDescription before = Scene(0, 1);
  before.features = {Speck({40, 10}, 4), Speck({-20, 45}, 6)};
  SceneDescription stranger = Scene(0, 1);
  stranger.seed = 42;
  stranger.features = {Speck({12, 40}, 4), Speck({-48, 5}, 6)};
  const auto compared = Compared({FrameOf(before), FrameOf(stranger)});
  EXPECT_FALSE(RegistrationOf(compared).rotation_known);
  EXPECT_TRUE(RegistrationOf(compared).same_face_doubtful);
  EXPECT_THAT(RegistrationOf(compared).words, HasSubstr("of the same face"));
}

TEST(RegisterAttempts, AMirroredFaceIsFoundAndNamed) {
  const Frame before = FrameOf(Scene(0, 1));
  Frame after = FrameOf(Scene(25, 2));
  cv::flip(after.luma, after.luma, 1);
  const Registration& r = RegistrationOf(Compared({before, after}));
  EXPECT_TRUE(r.rotation_known);
  EXPECT_TRUE(r.mirrored);
  EXPECT_THAT(r.words, HasSubstr("mirror"));
  const cv::Point2d there = r.ToAfter({30, 10});
  EXPECT_NEAR(cv::norm(r.ToBefore(there) - cv::Point2d(30, 10)), 0, 1e-9);
  // Flipped left to right: a point turned by 25 degrees has its x negated.
  const cv::Point2d turned = Turned({30, 10}, 25);
  EXPECT_NEAR(cv::norm(there - cv::Point2d(-turned.x, turned.y)), 0, 0.5);
}

TEST(RegisterAttempts, WithoutAFibreNothingIsCompared) {
  Frame empty;
  empty.luma = cv::Mat(400, 400, CV_8UC1, cv::Scalar(120));
  const auto compared = Compared({FrameOf(Scene(0, 1)), empty});
  EXPECT_FALSE(RegistrationOf(compared).has_fibre);
  EXPECT_TRUE(compared.comparison.pairs.front().fates.empty());
}

TEST(CompareAttempts, TellsGoneStillThereMovedAndNew) {
  const double turned_deg = -47;
  SceneDescription before = Scene(10, 1);
  before.features = {
      Speck({30, -15}, 5), Speck({-35, 20}, 4), Speck({0, 42}, 6, 0.9), Scratch({-10, -35}, 20)};
  SceneDescription after = Scene(10 + turned_deg, 2);
  after.features = {
      before.features[1], before.features[3], Speck({9, 47}, 6, 0.9), Speck({45, 10}, 5)};
  const auto compared = Compared({FrameOf(before), FrameOf(after)});
  EXPECT_NEAR(RegistrationOf(compared).rotation_deg, turned_deg, 0.2);
  const auto fate = [&](std::size_t attempt, cv::Point2d face_um) -> std::string {
    const double turn = attempt == 0 ? 10 : 10 + turned_deg;
    const Track* track = TrackAt(compared, attempt, Turned(face_um, turn));
    return track ? RecordWord(track->fate) : "not found";
  };
  EXPECT_EQ(fate(0, {30, -15}), "gone");
  EXPECT_EQ(fate(0, {-35, 20}), "still_there");
  EXPECT_EQ(fate(1, {-35, 20}), "still_there");
  EXPECT_EQ(fate(0, {-10, -35}), "still_there");
  EXPECT_EQ(fate(0, {0, 42}), "moved");
  EXPECT_EQ(fate(1, {9, 47}), "moved");
  EXPECT_EQ(fate(1, {45, 10}), "new");
}

TEST(CompareAttempts, ALookalikeNearByIsNotWhatWentAndDirtOverOrBesideHidesNoFate) {
  const double turned_deg = 25;
  SceneDescription before = Scene(0, 1);
  before.features = {Speck({-35, 20}, 4),
                     Speck({0, 42}, 6, 0.9),
                     Speck({-80, -60}, 5),
                     Speck({30, -15}, 5, -0.8),
                     Speck({-10, -35}, 10, -0.6)};
  SceneDescription after = Scene(turned_deg, 2);
  after.features = {before.features[0],
                    before.features[1],
                    before.features[2],
                    Speck({-39, 20}, 4),        // beside one that stayed
                    Speck({43, -8}, 5, -0.35),  // like what went, but much fainter
                    Scratch({-10, -35}, 20)};   // through where a thing was
  const auto compared = Compared({FrameOf(before), FrameOf(after)});
  const auto fate = [&](std::size_t attempt, cv::Point2d face_um) -> std::string {
    const Track* track = TrackAt(compared, attempt, Turned(face_um, attempt == 0 ? 0 : turned_deg));
    return track ? RecordWord(track->fate) : "not found";
  };
  EXPECT_EQ(fate(0, {-35, 20}), "still_there");
  EXPECT_EQ(fate(0, {30, -15}), "gone");
  EXPECT_EQ(fate(1, {43, -8}), "new");
  EXPECT_EQ(fate(0, {-10, -35}), "gone");
  EXPECT_EQ(fate(1, {-10, -35}), "new");
}

TEST(CompareAttempts, WhatTheSecondPictureCouldNotShowIsNotCalledGone) {
  SceneDescription before = Scene(0, 1);
  before.features = {Speck({30, -15}, 1.6, -0.5)};
  SceneDescription after = before;
  after.camera.rotation_deg = 30;
  after.camera.shot = 2;
  after.camera.defocus_um = 14;
  after.camera.read_noise_e = 400;
  const auto compared = Compared({FrameOf(before), FrameOf(after)});
  const Track* track = TrackAt(compared, 0, {30, -15});
  ASSERT_NE(track, nullptr);
  EXPECT_NE(track->fate, Fate::kGone);
}

TEST(CompareAttempts, DirtThatStaysAtItsPixelIsTheCameras) {
  Frame before = FrameOf(Scene(0, 1));
  Frame after = FrameOf(Scene(70, 2));
  for (Frame* frame : {&before, &after}) {
    cv::circle(frame->luma, {440, 300}, 7, cv::Scalar(20), cv::FILLED, cv::LINE_AA);
  }
  const auto compared = Compared({before, after});
  ASSERT_TRUE(RegistrationOf(compared).rotation_known);
  int of_camera = 0;
  for (const FeatureFate& fate : compared.comparison.pairs.front().fates) {
    if (fate.of_camera) {
      EXPECT_EQ(fate.fate, Fate::kCannotTell);
      ++of_camera;
    }
  }
  EXPECT_EQ(of_camera, 2);
}

TEST(CompareAttempts, ASeriesFollowsAThingThroughAllAttempts) {
  SceneDescription first = Scene(0, 1);
  first.features = {Speck({30, -15}, 5), Speck({-35, 20}, 6)};
  SceneDescription second = Scene(35, 2);
  second.features = first.features;
  SceneDescription third = Scene(-80, 3);
  third.features = {first.features[1]};
  const auto compared = Compared({FrameOf(first), FrameOf(second), FrameOf(third)});
  const Track* stays = TrackAt(compared, 0, {-35, 20});
  const Track* goes = TrackAt(compared, 0, {30, -15});
  ASSERT_NE(stays, nullptr);
  ASSERT_NE(goes, nullptr);
  EXPECT_TRUE(stays->likely_permanent);
  EXPECT_EQ(stays->num_survived, 2);
  EXPECT_EQ(goes->fate, Fate::kGone);
  EXPECT_EQ(goes->LastSeen(), 1U);
  // The first place in the third picture's coordinates and back.
  ASSERT_TRUE(compared.comparison.to_first[2].has_value());
  const Feature& feature = compared.grades[2].fibres.front().features[*stays->steps[2].feature];
  const cv::Vec2d back =
      *compared.comparison.to_first[2] * cv::Vec3d(feature.centre_um.x, feature.centre_um.y, 1);
  EXPECT_NEAR(std::hypot(back[0] + 35, back[1] - 20), 0, 1.0);
  const Comparison halfway = UpToAttempt(compared.comparison, 1);
  for (const Track& track : halfway.tracks) EXPECT_EQ(track.fate, Fate::kStillThere);
  EXPECT_EQ(halfway.pairs.size(), 1U);
}

TEST(CompareAttempts, OptionsOutOfRangeAreNamed) {
  CompareOptions options;
  options.gone_below = 2;
  const auto compared = CompareFrames({}, *FindLimits("sm-upc"), {}, options);
  ASSERT_FALSE(compared.ok());
  EXPECT_THAT(compared.error().what, HasSubstr("gone_below"));
  EXPECT_FALSE(CompareFrames({}, *FindLimits("sm-upc")).ok());
}

}  // namespace
}  // namespace endgrade
