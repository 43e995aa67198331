#include "render/optics.h"

#include "endgrade/render.h"
#include "render/texture.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

SceneCamera Lens(double aperture, double wavelength_um, double aberration_um) {
  SceneCamera camera;
  camera.numerical_aperture = aperture;
  camera.wavelength_um = wavelength_um;
  camera.aberration_um = aberration_um;
  return camera;
}

// A point on a fine grid, blurred: the distance between the two places where it falls to half.
double MeasuredFwhm(const Optics& optics) {
  constexpr double kCell_um = 0.05;
  cv::Mat light = cv::Mat::zeros(512, 512, CV_32FC1);
  light.at<float>(256, 256) = 1;
  optics.Blur(light, {kCell_um, kCell_um});
  const float half = light.at<float>(256, 256) / 2;
  int x = 256;
  while (light.at<float>(256, x + 1) > half) ++x;
  const float before = light.at<float>(256, x);
  const float after = light.at<float>(256, x + 1);
  const double share = (before - half) / (before - after);
  return 2 * (x - 256 + share) * kCell_um;
}

// Full width at half maximum of an Airy pattern: 1.029 wavelength x f-number, that is 0.5145
// wavelength / aperture (textbooks of optics; the pattern's half-height is at 1.61634).
TEST(Optics, DiffractionLimitedSpotHasTheAiryWidth) {
  const double airy = 0.5145 * 0.53 / 0.4;
  EXPECT_NEAR(MeasuredFwhm(Optics(Lens(0.4, 0.53, 0))), airy, 0.01 * airy);
}

TEST(Optics, AberrationAloneIsAGaussianOfItsWidth) {
  const double width = 2 * std::sqrt(2 * std::log(2.0));  // of sigma 1
  const Optics optics(Lens(0.9, 0.2, 1.0));
  EXPECT_NEAR(MeasuredFwhm(optics), width, 0.01 * width);
  EXPECT_NEAR(optics.Fwhm(), width, 0.02 * width);
}

// A clear pupil's transfer is a half at 0.4040 of its cutoff (2/pi (acos x - x sqrt(1 - x^2)) =
// 1/2).
TEST(Optics, StatedWidthIsThatOfTheGaussianOfTheSameHalfTransfer) {
  const double f = 0.4040 * 2 * 0.4 / 0.53;
  EXPECT_NEAR(Optics(Lens(0.4, 0.53, 0)).Fwhm(), 2 * std::log(2.0) / std::numbers::pi / f, 1e-3);
}

// A disc of light of radius a has its half transfer where 2 J1(x) / x = 1/2: x = 2.21509.
TEST(Optics, DefocusedSpotIsStatedAsWideAsItsDisc) {
  SceneCamera camera = Lens(0.45, 0.53, 0);
  camera.defocus_um = 17;
  const double radius = 17 * 0.45 / std::sqrt(1 - 0.45 * 0.45);
  const double f = 2.21509 / (2 * std::numbers::pi * radius);
  const double expected = 2 * std::log(2.0) / std::numbers::pi / f;
  EXPECT_NEAR(Optics(camera).Fwhm(), expected, 0.06 * expected);  // diffraction adds to it
}

TEST(Optics, TransferIsOneAtZeroAndNothingBeyondTheCutoff) {
  const Optics optics(Lens(0.4, 0.5, 0.1));
  EXPECT_NEAR(optics.Transfer(0), 1, 1e-7);
  EXPECT_EQ(optics.Transfer(2 * 0.4 / 0.5), 0);
}

// A clear pupil at half its cutoff: 2/pi (acos 0.5 - 0.5 sqrt 0.75) = 0.39100.
TEST(Optics, TransferAtHalfTheCutoffIsThatOfAClearPupil) {
  const Optics optics(Lens(0.4, 0.5, 0));
  EXPECT_NEAR(optics.Transfer(0.8), 0.39100, 1e-5);
  EXPECT_NEAR(optics.TransferAt(0.8), 0.39100, 1e-4);
}

// J1's first zero is at 3.83171: geometric blur of radius a takes away the frequency with
// 2 pi a f (1 - f / cutoff) = 3.83171.
TEST(Optics, DefocusTakesAwayTheFrequencyOfItsFirstZero) {
  SceneCamera camera = Lens(0.3, 0.5, 0);
  camera.defocus_um = 10;
  const double radius = 10 * 0.3 / std::sqrt(1 - 0.09);
  const double cutoff = 1.2;
  const double b = 3.83171 / (2 * std::numbers::pi * radius);
  const double f = cutoff / 2 * (1 - std::sqrt(1 - 4 * b / cutoff));
  EXPECT_NEAR(Optics(camera).Transfer(f), 0, 1e-5);
}

TEST(Optics, BlurKeepsAllLight) {
  cv::Mat light = cv::Mat::zeros(100, 81, CV_32FC1);
  light.at<float>(40, 7) = 5;
  Optics(Lens(0.3, 0.5, 0.2)).Blur(light, {0.2, 0.25});
  EXPECT_NEAR(cv::sum(light)[0], 5, 1e-3);
}

// Turned, with unlike steps: the sample's variance is the stated one, and so is the integral of the
// stated spectrum (Parseval).
TEST(Texture, VarianceAndSpectrumAreThoseStated) {
  const Texture texture(7, 0.1, {0.8, 2.0}, 25);
  double sum = 0;
  double sum2 = 0;
  int count = 0;
  for (double y = -90; y < 90; y += 0.37) {
    for (double x = -90; x < 90; x += 0.37) {
      const double value = texture.At({x, y});
      sum += value;
      sum2 += value * value;
      ++count;
    }
  }
  // About 20,000 independent lattice points: variance to 1 %.
  EXPECT_NEAR(sum2 / count, 0.01, 0.0004);
  EXPECT_NEAR(sum / count, 0, 0.004);
  double power = 0;
  constexpr double kStep = 0.01;
  for (double v = -1.6; v < 1.6; v += kStep) {
    for (double u = -1.6; u < 1.6; u += kStep) power += texture.Spectrum({u, v});
  }
  EXPECT_NEAR(power * kStep * kStep, 0.01, 1e-4);
}

}  // namespace
}  // namespace endgrade::render
