#include "render/texture.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

constexpr unsigned kSide = 256;       // lattice points before it repeats
constexpr unsigned kRow = kSide + 4;  // a row's first points stand at its end again

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
      lattice_(static_cast<size_t>(kSide) * kRow) {
  Random random(seed);
  for (size_t y = 0; y < kSide; ++y) {
    float* row = &lattice_[y * kRow];
    for (size_t x = 0; x < kSide; ++x) {
      row[x] = static_cast<float>(random.Normal() * rms / kVarianceKept);
    }
    std::copy_n(row, kRow - kSide, row + kSide);
  }
}

double Texture::At(cv::Point2d p_um) const {
  const double u = (cos_ * p_um.x + sin_ * p_um.y) / step_um_.x;
  const double v = (-sin_ * p_um.x + cos_ * p_um.y) / step_um_.y;
  const int iu = static_cast<int>(u + 4096) - 4096;  // floor, for all that lies on a face
  const int iv = static_cast<int>(v + 4096) - 4096;
  const auto wu = SplineWeights(static_cast<float>(u - iu));
  const auto wv = SplineWeights(static_cast<float>(v - iv));
  const float* column = &lattice_[static_cast<unsigned>(iu - 1) % kSide];
  std::array<float, 4> sums{};
  for (unsigned j = 0; j < 4; ++j) {
    const float* row = column + (static_cast<unsigned>(iv - 1) + j) % kSide * kRow;
    for (size_t i = 0; i < 4; ++i) sums[i] += wv[j] * row[i];
  }
  return (sums[0] * wu[0] + sums[1] * wu[1]) + (sums[2] * wu[2] + sums[3] * wu[3]);
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
