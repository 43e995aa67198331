#include "render/sensor.h"
#include "tests/camera/camera_scenes.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

using ::testing::AllOf;
using testing::CameraScene;
using ::testing::HasSubstr;
using testing::SampleOf;

SceneDescription DirtyCamera(int index) {
  SceneDescription scene = CameraScene(index);
  scene.camera.sensor_dust = 16;
  scene.camera.lens_dirt = 4;
  scene.camera.vignetting = 0.25;
  scene.camera.light_slope = 0.15;
  scene.camera.light_direction_deg = 30;
  return scene;
}

class LearnCameraTest : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    samples_ = new std::vector<CameraSample>;
    for (int i = 0; i < 8; ++i) samples_->push_back(SampleOf(DirtyCamera(i)));
    auto learnt = LearnCamera(*samples_, "bench-scope");
    ASSERT_TRUE(learnt.ok()) << learnt.error().Text();
    learnt_ = new LearntCamera(*std::move(learnt));
  }
  static void TearDownTestSuite() {
    delete learnt_;
    delete samples_;
  }
  static const CameraProfile& Profile() { return learnt_->profile; }

  // How many pictures show a pixel's place within the contact zone, well clear of its border and
  // of the rim, where the face's own edge is.
  static int TimesSeen(cv::Point2d p_px) {
    int times = 0;
    for (const CameraSample& sample : *samples_) {
      const double away =
          std::hypot(p_px.x - sample.centre_px.x, p_px.y - sample.centre_px.y) * 0.3;
      times += away < 118 && std::abs(away - 62.5) > 9 && away > 10 ? 1 : 0;
    }
    return times;
  }

  static inline std::vector<CameraSample>* samples_ = nullptr;
  static inline LearntCamera* learnt_ = nullptr;
};

TEST_F(LearnCameraTest, ScaleOfManyCladdingsHoldsTheTruth) {
  const Uncertain& scale = Profile().um_per_px;
  EXPECT_NEAR(scale.value, 0.30, scale.uncertainty);
  // Fitted radii scatter and claddings differ by 0.3 um or so: together well within 0.5 %.
  EXPECT_NEAR(scale.value, 0.30, 0.005 * 0.30);
  // A tolerance of +/- 1 um, rectangular (JCGM 100:2008, 4.3.7), does not average out.
  EXPECT_GE(scale.uncertainty, 2 * (1.0 / std::sqrt(3.0)) / 125.0 * scale.value);
  EXPECT_LT(scale.uncertainty, 0.012 * scale.value);
}

// The scatter of the scenes' own claddings: +/- 0.3 and 0.6 um of 125 um.
TEST_F(LearnCameraTest, ScatterIsThatOfTheCladdings) {
  double square = 0;
  for (int i = 0; i < 8; ++i) square += std::pow(0.3 * (i % 5 - 2) / 125.0, 2);
  const double expected = 0.30 * std::sqrt(square / 7);
  EXPECT_NEAR(Profile().um_per_px_scatter, expected, 0.5 * expected);
}

TEST_F(LearnCameraTest, SquarePixelsAreTakenAsSquare) {
  EXPECT_NEAR(Profile().pixel_aspect.value, 1.0, Profile().pixel_aspect.uncertainty);
  EXPECT_EQ(Profile().AspectInUse(), 1.0);
}

// The lamp as scene.h and src/render/sensor.cpp have it: with p from -1 at one border to 1 at the
// other, (1 - v |p|^2 / 2) (1 + s.p), where s is half the light's slope along its direction.
TEST_F(LearnCameraTest, FlatFieldIsTheLamps) {
  const cv::Size size = Profile().picture_px;
  const auto lamp = [&](cv::Point2d q) {
    const cv::Point2d p((q.x - 0.5 * size.width) / (0.5 * size.width),
                        (q.y - 0.5 * size.height) / (0.5 * size.height));
    const double turn = 30 * CV_PI / 180;
    const double slope = 0.5 * 0.15 * (p.x * std::cos(turn) + p.y * std::sin(turn));
    return (1 - 0.5 * 0.25 * p.dot(p)) * (1 + slope);
  };
  ASSERT_TRUE(Profile().flat);
  const cv::Point2d middle(0.5 * size.width, 0.5 * size.height);
  constexpr double kTolerance = 0.012;  // ferrule grain and six terms for the lamp's product
  for (double x = 200; x <= 900; x += 100) {
    for (double y = 150; y <= 850; y += 100) {
      const double truth = lamp({x, y}) / lamp(middle);
      EXPECT_NEAR(Profile().flat->At({x, y}, size) / truth, 1.0, kTolerance) << x << ", " << y;
    }
  }
}

// A pixel of e electrons has variance e + 8^2; a level is 255 / 12,000 of an electron; rounding to
// whole levels adds 1/12 (a rectangular distribution).
TEST_F(LearnCameraTest, NoiseIsThatOfTheSensor) {
  ASSERT_TRUE(Profile().noise && Profile().noise->slope_known);
  const double levels_per_e = 255.0 / 12000;
  const auto truth = [&](double level) {
    return levels_per_e * level + levels_per_e * levels_per_e * 64 + 1 / 12.0;
  };
  for (const double level : {50.0, 70.0, 90.0}) {
    const double learnt = Profile().noise->offset + Profile().noise->slope * level;
    EXPECT_NEAR(learnt / truth(level), 1.0, 0.08) << level;
  }
  EXPECT_NEAR(Profile().noise->slope / levels_per_e, 1.0, 0.25);
}

TEST_F(LearnCameraTest, DustThatAFaceCouldFailByIsFoundWhereItIs) {
  int looked_for = 0;
  for (const render::DirtSpot& spot : render::LensDirt(DirtyCamera(0))) {
    if (spot.depth < 0.12 || spot.radius_px > 10 || TimesSeen(spot.centre_px) < 5) continue;
    ++looked_for;
    const bool found =
        std::any_of(Profile().dirt.begin(), Profile().dirt.end(), [&](const FixedDirt& dirt) {
          return cv::norm(dirt.centre_px - spot.centre_px) < 2.5 && !dirt.divided &&
                 std::abs(1 - dirt.transmission - spot.depth) < 0.3 * spot.depth;
        });
    EXPECT_TRUE(found) << spot.centre_px << " radius " << spot.radius_px << " depth " << spot.depth;
  }
  EXPECT_GE(looked_for, 4);
}

TEST_F(LearnCameraTest, HiddenOutlineHoldsAllThatDustDarkens) {
  for (const render::DirtSpot& spot : render::LensDirt(DirtyCamera(0))) {
    for (const FixedDirt& dirt : Profile().dirt) {
      if (dirt.divided || cv::norm(dirt.centre_px - spot.centre_px) > 2.5) continue;
      // The shadow is depth / (1 + (r / radius)^6): at 1.5 radii less than a tenth is left.
      for (int i = 0; i < 16; ++i) {
        const double turn = 2 * CV_PI * i / 16;
        const cv::Point2d p =
            spot.centre_px + 1.4 * spot.radius_px * cv::Point2d(std::cos(turn), std::sin(turn));
        EXPECT_GE(cv::pointPolygonTest(dirt.outline_px, cv::Point2f(p), false), 0) << p;
      }
    }
  }
}

TEST_F(LearnCameraTest, NothingIsFoundWhereThereIsNoDirt) {
  const auto truth = render::LensDirt(DirtyCamera(0));
  for (const FixedDirt& dirt : Profile().dirt) {
    const bool is_there = std::any_of(truth.begin(), truth.end(), [&](const auto& spot) {
      return cv::norm(dirt.centre_px - spot.centre_px) < spot.radius_px + 4;
    });
    EXPECT_TRUE(is_there) << dirt.centre_px << " diameter " << dirt.diameter_px;
  }
}

TEST_F(LearnCameraTest, TheSameSamplesGiveTheSameFile) {
  const auto again = LearnCamera(*samples_, "bench-scope");
  ASSERT_TRUE(again.ok());
  EXPECT_EQ(CameraProfileToml(again->profile), CameraProfileToml(Profile()));
}

TEST_F(LearnCameraTest, TargetSetsTheScaleAndTheCladdingsCheckIt) {
  ScaleTarget target;
  target.picture_px = Profile().picture_px;
  target.both_axes = true;
  target.um_per_px = {0.3003, 0.0003};
  target.pixel_aspect = {1.0002, 0.0004};
  const auto learnt = LearnCamera(*samples_, "bench-scope", target);
  ASSERT_TRUE(learnt.ok());
  EXPECT_EQ(learnt->profile.scale_source, CameraScaleSource::kTarget);
  EXPECT_EQ(learnt->profile.um_per_px.value, 0.3003);
  EXPECT_THAT(learnt->notes.front(), HasSubstr("from the target"));
  for (const std::string& note : learnt->notes)
    EXPECT_THAT(note, ::testing::Not(HasSubstr("Warning")));
  target.um_per_px = {0.310, 0.0003};
  const auto wrong = LearnCamera(*samples_, "bench-scope", target);
  ASSERT_TRUE(wrong.ok());
  EXPECT_THAT(wrong->notes, ::testing::Contains(HasSubstr("Warning: by the claddings")));
}

// Lines across x tell the scale along x; with pixels 1.02 as high as wide, the mean of both axes is
// the root of 1.02 larger.
TEST_F(LearnCameraTest, TargetOfOneDirectionTakesThePixelAspectFromTheCladdings) {
  std::vector<CameraSample> samples = *samples_;
  for (CameraSample& sample : samples) sample.pixel_aspect = 1.02;
  ScaleTarget target;
  target.picture_px = Profile().picture_px;
  target.um_per_px = {0.3, 0.0};
  target.waves_per_px = {0.03, 0};
  const auto learnt = LearnCamera(samples, "bench-scope", target);
  ASSERT_TRUE(learnt.ok());
  EXPECT_NEAR(learnt->profile.um_per_px.value, 0.3 * std::sqrt(1.02), 1e-9);
  // Half of the aspect's relative uncertainty is the mean's.
  const double expected = 0.5 * learnt->profile.pixel_aspect.uncertainty / 1.02;
  EXPECT_NEAR(learnt->profile.um_per_px.uncertainty / learnt->profile.um_per_px.value,
              expected,
              0.02 * expected);
}

TEST_F(LearnCameraTest, PicturesThatDoNotBelongTogetherAreRefusedByName) {
  std::vector<CameraSample> samples = *samples_;
  samples[3].um_per_px *= 1.05;
  const auto magnified = LearnCamera(samples, "x");
  ASSERT_FALSE(magnified.ok());
  EXPECT_THAT(magnified.error().Text(),
              AllOf(HasSubstr(samples[3].path.string()), HasSubstr("magnification")));
  samples = *samples_;
  samples[5].picture_px.width += 1;
  const auto sized = LearnCamera(samples, "x");
  ASSERT_FALSE(sized.ok());
  EXPECT_THAT(sized.error().Text(), HasSubstr(samples[5].path.string()));
  samples.resize(2);
  const auto few = LearnCamera(samples, "x");
  ASSERT_FALSE(few.ok());
  EXPECT_THAT(few.error().Text(), HasSubstr("only 2"));
}

TEST(LearnCamera, AFibreThatStaysWhereItIsTeachesNoDirtAndSaysSo) {
  std::vector<CameraSample> samples;
  for (int i = 0; i < 3; ++i) {
    SceneDescription scene = DirtyCamera(i);
    scene.camera.centre_offset_px = {3.0 * i, 2.0};
    samples.push_back(SampleOf(scene));
  }
  const auto learnt = LearnCamera(samples, "still");
  ASSERT_TRUE(learnt.ok());
  EXPECT_EQ(learnt->profile.num_positions, 1);
  EXPECT_FALSE(learnt->profile.dirt_known);
  EXPECT_TRUE(learnt->profile.dirt.empty());
  EXPECT_THAT(learnt->notes,
              ::testing::Contains(AllOf(HasSubstr("not learnt"), HasSubstr("move the fibre"))));
}

// The same dirty face, moved about: its dirt is on the face and stays out of the profile.
TEST(LearnCamera, DirtThatMovesWithTheFibreIsNotTheCameras) {
  std::vector<CameraSample> samples;
  for (int i = 0; i < 5; ++i) {
    SceneDescription scene = CameraScene(i);
    scene.seed = 8200;  // one face
    scene.camera.shot = static_cast<std::uint64_t>(i);
    for (int k = 0; k < 12; ++k) {
      SceneFeature speck;
      const double turn = 2 * CV_PI * k / 12;
      speck.centre_um = {(k % 2 ? 40.0 : 95.0) * std::cos(turn),
                         (k % 2 ? 40.0 : 95.0) * std::sin(turn)};
      speck.diameter_um = 3 + k;
      scene.features.push_back(speck);
    }
    samples.push_back(SampleOf(scene));
  }
  const auto learnt = LearnCamera(samples, "clean");
  ASSERT_TRUE(learnt.ok());
  EXPECT_TRUE(learnt->profile.dirt_known);
  for (const FixedDirt& dirt : learnt->profile.dirt) {
    ADD_FAILURE() << dirt.centre_px << " diameter " << dirt.diameter_px << " transmission "
                  << dirt.transmission << (dirt.divided ? " divided" : " hidden");
  }
}

// 5 % off square, as a frame grabber leaves them.
TEST(LearnCamera, PixelsThatAreNotSquareAreFoundOut) {
  std::vector<CameraSample> samples;
  for (int i = 0; i < 4; ++i) {
    SceneDescription scene = CameraScene(i);
    scene.camera.pixel_aspect = 1.05;
    samples.push_back(SampleOf(scene));
  }
  const auto learnt = LearnCamera(samples, "oblong");
  ASSERT_TRUE(learnt.ok());
  const CameraProfile& profile = learnt->profile;
  EXPECT_NEAR(profile.pixel_aspect.value, 1.05, 0.006);
  EXPECT_EQ(profile.AspectInUse(), profile.pixel_aspect.value);
  // The mean of both axes: the root of 0.30 along x times 0.315 along y.
  EXPECT_NEAR(profile.um_per_px.value, 0.30 * std::sqrt(1.05), profile.um_per_px.uncertainty);
}

TEST(SampleForCamera, RefusesAPictureWithoutAFibre) {
  Frame frame;
  frame.luma = cv::Mat(300, 400, CV_8UC1, cv::Scalar(90));
  frame.path = "learning/empty.png";
  const auto sample = SampleForCamera(frame, *FindLimits("sm-upc"));
  ASSERT_FALSE(sample.ok());
  EXPECT_THAT(sample.error().Text(), AllOf(HasSubstr("empty.png"), HasSubstr("no fibre")));
}

}  // namespace
}  // namespace endgrade
