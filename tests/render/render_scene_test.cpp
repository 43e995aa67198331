#include "endgrade/render.h"
#include "render/optics.h"

#include <gtest/gtest.h>
#include <opencv2/core/utility.hpp>

#include <cmath>
#include <numbers>

namespace endgrade {
namespace {

// A face of one even grey under an even lamp: nothing but what a test adds.
SceneDescription PlainScene() {
  SceneDescription scene;
  scene.camera.width_px = 640;
  scene.camera.height_px = 560;
  scene.camera.um_per_px = 0.48;
  scene.camera.vignetting = 0;
  scene.fibre.core_contrast = 0;
  scene.face.grain_rms = 0;
  scene.face.glass_level = 0.4;
  scene.face.ferrule_level = 0.4;
  return scene;
}

RenderedScene Rendered(const SceneDescription& scene) {
  auto rendered = RenderScene(scene);
  EXPECT_TRUE(rendered.ok());
  return std::move(*rendered);
}

SceneFeature Disc(cv::Point2d centre_um, double diameter_um, double contrast) {
  SceneFeature f;
  f.centre_um = centre_um;
  f.diameter_um = diameter_um;
  f.contrast = contrast;
  return f;
}

// Shot noise of the mean, read noise, and a twelfth of a step squared for rounding to 256 levels
// (the variance of an even distribution), each from its own definition.
double Variance_e2(double mean_e, const SceneCamera& camera) {
  const double step_e = camera.full_well_e / 255;
  return mean_e + camera.read_noise_e * camera.read_noise_e + step_e * step_e / 12;
}

TEST(RenderScene, MeasuredNoiseIsTheStatedNoise) {
  const SceneDescription scene = PlainScene();
  cv::Mat picture;
  Rendered(scene).picture.convertTo(picture, CV_64F);
  cv::Scalar mean;
  cv::Scalar deviation;
  cv::meanStdDev(picture(cv::Rect(20, 20, 600, 520)), mean, deviation);
  const double mean_e = 0.4 * scene.camera.full_well_e;
  const double per_e = 255 / scene.camera.full_well_e;
  EXPECT_NEAR(mean[0], mean_e * per_e, 0.02);
  // 312,000 pixels: standard error of a deviation 0.13 %.
  EXPECT_NEAR(
      deviation[0], std::sqrt(Variance_e2(mean_e, scene.camera)) * per_e, 0.006 * deviation[0]);
}

// Energy of a blurred disc of height 1, um^2, by Parseval: its transform is r J1(2 pi r f) / f, so
// that the energy is 2 pi r^2 times the integral of J1^2(2 pi r f) T^2(f) / f; pi r^2 without blur.
double DiscEnergy_um2(const SceneCamera& camera, double radius_um) {
  const render::Optics optics(camera);
  constexpr double kStep = 2.5e-4;
  const double cutoff = 2 * camera.numerical_aperture / camera.wavelength_um;
  double sum = 0;
  for (double f = kStep / 2; f < cutoff; f += kStep) {
    // A square pixel's transfer, all directions together, as a Gaussian of its variance.
    const double pixel2 = std::pow(camera.um_per_px, 2) / 12;
    const double t2 =
        std::pow(optics.Transfer(f), 2) * std::exp(-4 * std::pow(std::numbers::pi * f, 2) * pixel2);
    const double j1 = std::cyl_bessel_j(1.0, 2 * std::numbers::pi * radius_um * f);
    sum += j1 * j1 * t2 / f * kStep;
  }
  return 2 * std::numbers::pi * radius_um * radius_um * sum;
}

// Matched filter in white noise: contrast x level x sqrt(energy in pixels / variance).
TEST(RenderScene, SignalToNoiseOfADiscIsTheFormulas) {
  for (const double diameter_um : {12.0, 30.0}) {
    SceneDescription scene = PlainScene();
    scene.features = {Disc({8, -5}, diameter_um, -0.05)};
    const double level_e = 0.4 * scene.camera.full_well_e;
    const double pixels =
        DiscEnergy_um2(scene.camera, diameter_um / 2) / std::pow(scene.camera.um_per_px, 2);
    const double expected = 0.05 * level_e * std::sqrt(pixels / Variance_e2(level_e, scene.camera));
    const double snr = Rendered(scene).truth.features.at(0).snr;
    EXPECT_NEAR(snr, expected, 0.01 * expected) << diameter_um << " um";
  }
}

TEST(RenderScene, SignalToNoiseFollowsContrastAndTexture) {
  SceneDescription scene = PlainScene();
  scene.features = {Disc({0, 90}, 6, -0.05), Disc({0, -90}, 6, -0.10)};
  const auto plain = Rendered(scene).truth.features;
  EXPECT_NEAR(plain.at(1).snr / plain.at(0).snr, 2, 0.02);
  scene.face.grain_rms = 0.08;
  const auto grained = Rendered(scene).truth.features;
  EXPECT_LT(grained.at(0).snr, 0.5 * plain.at(0).snr);  // lies on the ferrule's grain
  scene.features = {Disc({0, 30}, 6, -0.05)};
  const auto on_glass = Rendered(scene).truth.features;
  EXPECT_NEAR(on_glass.at(0).snr, plain.at(0).snr, 0.05 * plain.at(0).snr);
}

// The same sum from two rendered pictures, pixel by pixel: what is averaged over many exposures
// with the disc, less without, over the noise. Checks that the truth speaks of the picture.
TEST(RenderScene, SignalToNoiseIsThatOfThePictures) {
  SceneDescription scene = PlainScene();
  scene.camera.full_well_e = 1e6;  // hardly any noise: one exposure shows the mean
  scene.camera.read_noise_e = 0;
  scene.features = {Disc({20, 10}, 9, -0.6)};
  const RenderedScene with = Rendered(scene);
  scene.features.clear();
  const RenderedScene without = Rendered(scene);
  cv::Mat difference;
  cv::subtract(with.picture, without.picture, difference, cv::noArray(), CV_64F);
  const cv::Point2d at = with.truth.features.at(0).centre_px;
  const cv::Rect around(cv::Point(at) - cv::Point(20, 20), cv::Size(41, 41));
  const double step_e = scene.camera.full_well_e / 255;
  const double energy = cv::norm(difference(around), cv::NORM_L2SQR) * step_e * step_e;
  const double snr = std::sqrt(energy / Variance_e2(0.4e6, scene.camera));
  EXPECT_NEAR(with.truth.features.at(0).snr, snr, 0.02 * snr);
}

TEST(RenderScene, ImagedContrastOfALargeDiscIsItsOwn) {
  SceneDescription scene = PlainScene();
  scene.features = {Disc({0, 0}, 20, -0.3)};
  EXPECT_NEAR(Rendered(scene).truth.features.at(0).contrast_imaged, -0.3, 0.01);
}

// Where the picture's own brightness crosses half of the step, along the row through the centre.
TEST(RenderScene, RimLiesWhereTheTruthSays) {
  SceneDescription scene = PlainScene();
  scene.face.ferrule_level = 0.7;
  scene.camera.read_noise_e = 0;
  scene.camera.full_well_e = 1e6;
  scene.camera.centre_offset_px = {6.3, -4};
  const RenderedScene rendered = Rendered(scene);
  const Ellipse& rim = *rendered.truth.cladding;
  const int y = static_cast<int>(std::lround(rim.centre_px.y));
  const unsigned char* row = rendered.picture.ptr<unsigned char>(y);
  const double half = 255 * 0.55;
  int x = static_cast<int>(rim.centre_px.x);
  while (row[x + 1] < half) ++x;
  const double crossing = x + (half - row[x]) / (row[x + 1] - row[x]);
  const double dy = y - rim.centre_px.y;
  const double expected =
      rim.centre_px.x + std::sqrt(rim.semi_major_px * rim.semi_major_px - dy * dy);
  EXPECT_NEAR(rim.semi_major_px, 62.5 / 0.48, 1e-6);
  EXPECT_NEAR(crossing, expected, 0.05);
}

TEST(RenderScene, PixelsThatAreNotSquareMakeAnEllipse) {
  SceneDescription scene = PlainScene();
  scene.camera.pixel_aspect = 0.9;
  const SceneTruth truth = Rendered(scene).truth;
  EXPECT_NEAR(truth.cladding->semi_major_px, 62.5 / (0.48 * 0.9), 1e-6);
  EXPECT_NEAR(truth.cladding->semi_minor_px, 62.5 / 0.48, 1e-6);
  EXPECT_NEAR(truth.cladding->angle_deg, 90, 1e-6);
  EXPECT_NEAR(truth.um_per_px, 0.48 * std::sqrt(0.9), 1e-9);
}

// Seen square to its face, an angled fibre's outline is longer along the slope by 1 / cos 8.
TEST(RenderScene, AngledFaceIsLongerAlongItsSlope) {
  SceneDescription scene = PlainScene();
  scene.limits_id = "sm-apc";
  scene.face.slope_deg = 8;
  scene.face.slope_direction_deg = 0;
  const SceneTruth truth = Rendered(scene).truth;
  EXPECT_NEAR(truth.cladding->semi_major_px / truth.cladding->semi_minor_px, 1 / 0.99027, 1e-4);
  EXPECT_NEAR(truth.cladding->angle_deg, 0, 1e-6);
}

TEST(RenderScene, GivesTheSameBytesAgainAndWithAnyNumberOfThreads) {
  RandomSceneOptions options;
  options.preset = "filthy";
  options.camera = "probe";
  const auto scene = RandomScene(11, options);
  const int threads = cv::getNumThreads();
  cv::setNumThreads(1);
  const RenderedScene one = Rendered(*scene);
  cv::setNumThreads(4);
  const RenderedScene four = Rendered(*scene);
  cv::setNumThreads(threads);
  EXPECT_EQ(one.file_bytes, four.file_bytes);
  EXPECT_FALSE(one.file_bytes.empty());
  EXPECT_EQ(TruthJson(*scene, one.truth), TruthJson(*scene, four.truth));
  SceneDescription other = *scene;
  other.seed += 1;
  EXPECT_NE(Rendered(other).file_bytes, one.file_bytes);
}

TEST(RenderScene, RefusesADescriptionOutsideItsRange) {
  SceneDescription scene;
  scene.camera.um_per_px = 9;
  const auto rendered = RenderScene(scene);
  ASSERT_FALSE(rendered.ok());
  EXPECT_EQ(rendered.error().what, "camera.um_per_px = 9: must be within [0.05, 3]");
}

}  // namespace
}  // namespace endgrade
