#include "render/texture.h"

#include <array>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

constexpr int kSide = 256;  // lattice points before it repeats

// Integral of the squared cubic B-spline: what interpolation leaves of white noise's variance.
constexpr double kVarianceKept = 151.0 / 315.0;

std::array<float, 4> SplineWeights(float t) {
  const float s = 1 - t;
  return {s * s * s / 6,
          (3 * t * t * t - 6 * t * t + 4) / 6,
          (3 * s * s * s - 6 * s * s + 4) / 6,
          t * t * t / 6};
}

double Sinc(double x) {
  const double px = std::numbers::pi * x;
  return std::abs(px) < 1e-9 ? 1.0 : std::sin(px) / px;
}

}  // namespace

Texture::Texture(std::uint64_t seed, double rms, cv::Point2d step_um, double angle_deg)
    : rms_(rms),
      step_um_(step_um),
      cos_(std::cos(angle_deg * std::numbers::pi / 180)),
      sin_(std::sin(angle_deg * std::numbers::pi / 180)),
      lattice_(static_cast<size_t>(kSide) * kSide) {
  Random random(seed);
  for (float& value : lattice_) value = static_cast<float>(random.Normal() * rms / kVarianceKept);
}

double Texture::At(cv::Point2d p_um) const {
  const double u = (cos_ * p_um.x + sin_ * p_um.y) / step_um_.x;
  const double v = (-sin_ * p_um.x + cos_ * p_um.y) / step_um_.y;
  const double fu = std::floor(u);
  const double fv = std::floor(v);
  const auto wu = SplineWeights(static_cast<float>(u - fu));
  const auto wv = SplineWeights(static_cast<float>(v - fv));
  const auto iu = static_cast<unsigned>(static_cast<int>(fu) - 1);
  const auto iv = static_cast<unsigned>(static_cast<int>(fv) - 1);
  float sum = 0;
  for (unsigned j = 0; j < 4; ++j) {
    const float* row = &lattice_[((iv + j) % kSide) * kSide];
    float across = 0;
    for (unsigned i = 0; i < 4; ++i) across += wu[i] * row[(iu + i) % kSide];
    sum += wv[j] * across;
  }
  return sum;
}

// The spline's transform is sinc^4 in each direction, its power sinc^8.
double Texture::Spectrum(cv::Point2d f_per_um) const {
  const double fu = (cos_ * f_per_um.x + sin_ * f_per_um.y) * step_um_.x;
  const double fv = (-sin_ * f_per_um.x + cos_ * f_per_um.y) * step_um_.y;
  if (std::abs(fu) >= 1 || std::abs(fv) >= 1) return 0;  // the side lobes hold less than 1e-5
  const double sinc = Sinc(fu) * Sinc(fv);
  const double sinc2 = sinc * sinc;
  const double shape = sinc2 * sinc2 * sinc2 * sinc2;
  const double peak = rms_ * rms_ / (kVarianceKept * kVarianceKept);
  return peak * step_um_.x * step_um_.y * shape;
}

}  // namespace endgrade::render
