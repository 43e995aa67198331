#include "render/optics.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

constexpr size_t kTableSize = 2048;

// 2 J1(x) / x. J1: Abramowitz and Stegun 9.4.4 and 9.4.6, |error| < 1.3e-8 and 4e-8.
double TwoJ1OverX(double x) {
  x = std::abs(x);
  if (x <= 3) {
    const double t = (x / 3) * (x / 3);
    const double j1_over_x =
        0.5 + t * (-0.56249985 +
                   t * (0.21093573 +
                        t * (-0.03954289 + t * (0.00443319 + t * (-0.00031761 + t * 0.00001109)))));
    return 2 * j1_over_x;
  }
  const double t = 3 / x;
  const double f1 =
      0.79788456 +
      t * (0.00000156 +
           t * (0.01659667 +
                t * (0.00017105 + t * (-0.00249511 + t * (0.00113653 - t * 0.00020033)))));
  const double theta =
      x - 2.35619449 +
      t * (0.12499612 +
           t * (0.00005650 +
                t * (-0.00637879 + t * (0.00074348 + t * (0.00079824 - t * 0.00029166)))));
  return 2 * f1 * std::cos(theta) / (x * std::sqrt(x));
}

double Diffraction(double nu) {
  if (nu >= 1) return 0;
  return 2 / std::numbers::pi * (std::acos(nu) - nu * std::sqrt(1 - nu * nu));
}

}  // namespace

double Sinc(double x) {
  const double px = std::numbers::pi * x;
  return std::abs(px) < 1e-9 ? 1.0 : std::sin(px) / px;
}

Optics::Optics(const SceneCamera& camera, double extra_defocus_um)
    : cutoff_per_um_(2 * camera.numerical_aperture / camera.wavelength_um),
      aberration_um_(camera.aberration_um),
      table_(kTableSize + 2) {
  const double sine = std::min(camera.numerical_aperture, 0.95);
  const double tangent = sine / std::sqrt(1 - sine * sine);
  blur_radius_um_ = std::abs(camera.defocus_um + extra_defocus_um) * tangent;
  for (size_t i = 0; i < table_.size(); ++i) {
    const double f = cutoff_per_um_ * static_cast<double>(i) / kTableSize;
    table_[i] = static_cast<float>(Transfer(f));
  }
}

double Optics::Transfer(double f_per_um) const {
  const double nu = f_per_um / cutoff_per_um_;
  if (nu >= 1) return 0;
  const double defocus = TwoJ1OverX(2 * std::numbers::pi * blur_radius_um_ * f_per_um * (1 - nu));
  const double aberration = std::exp(-2 * std::numbers::pi * std::numbers::pi * aberration_um_ *
                                     aberration_um_ * f_per_um * f_per_um);
  return Diffraction(nu) * defocus * aberration;
}

float Optics::TransferAt(double f_per_um) const {
  const double at = f_per_um * kTableSize / cutoff_per_um_;
  if (at >= kTableSize) return 0.0F;
  const auto i = static_cast<size_t>(at);
  const auto t = static_cast<float>(at - static_cast<double>(i));
  return table_[i] + t * (table_[i + 1] - table_[i]);
}

double Optics::SharpestSigma() const {
  const double fwhm = 0.514 * 2 / cutoff_per_um_;
  const double airy = fwhm / 2.3548;
  return std::sqrt(airy * airy + aberration_um_ * aberration_um_);
}

double Optics::Fwhm() const {
  // A Gaussian's transfer is a half at sqrt(2 ln 2) / (2 pi sigma); its width 2 sqrt(2 ln 2) sigma.
  const double width_times_f = 2 * std::log(2.0) / std::numbers::pi;
  double low = 0;
  double step = cutoff_per_um_ / kTableSize;
  while (Transfer(low + step) > 0.5) low += step;
  for (int i = 0; i < 30; ++i) {
    step /= 2;
    if (Transfer(low + step) > 0.5) low += step;
  }
  return width_times_f / low;
}

double Optics::Reach() const { return 6 * SharpestSigma() + 1.3 * blur_radius_um_ + 1; }

void Optics::Blur(cv::Mat& light, cv::Point2d cell_um) const {
  cv::dft(light, light);
  ScaleSpectrum(light, cell_um, [this](double fx, double fy) {
    return TransferAt(std::sqrt(fx * fx + fy * fy));
  });
  cv::dft(light, light, cv::DFT_INVERSE | cv::DFT_SCALE | cv::DFT_REAL_OUTPUT);
}

}  // namespace endgrade::render
