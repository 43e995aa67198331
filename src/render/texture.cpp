#include "render/texture.h"

#include "render/optics.h"

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

using Weights = std::array<float, 4>;

Weights SplineWeights(float t) {
  const float s = 1 - t;
  return {s * s * s / 6,
          (3 * t * t * t - 6 * t * t + 4) / 6,
          (3 * s * s * s - 6 * s * s + 4) / 6,
          t * t * t / 6};
}

// Lattice steps that make any place in any picture positive: 18 mm are 90,000 of the finest.
constexpr double kOffset = 1 << 20;

// Weights by phase, in steps far finer than the texture's slopes can show.
constexpr int kPhases = 512;
const std::array<Weights, kPhases> kWeights = [] {
  std::array<Weights, kPhases> table;
  for (size_t i = 0; i < kPhases; ++i) {
    table[i] = SplineWeights((static_cast<float>(i) + 0.5F) / kPhases);
  }
  return table;
}();

}  // namespace

Texture::Texture(std::uint64_t seed, double rms, cv::Point2d step_um, double angle_deg)
    : rms_(rms),
      step_um_(step_um),
      cos_(std::cos(angle_deg * std::numbers::pi / 180)),
      sin_(std::sin(angle_deg * std::numbers::pi / 180)),
      along_(cv::Point2d(cos_, sin_) / step_um.x),
      across_(cv::Point2d(-sin_, cos_) / step_um.y),
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
  const double u = along_.dot(p_um);
  const double v = across_.dot(p_um);
  // Whole lattice steps and phase in one number.
  const auto pu = static_cast<unsigned>((u + kOffset) * kPhases);
  const auto pv = static_cast<unsigned>((v + kOffset) * kPhases);
  const Weights& wu = kWeights[pu % kPhases];
  const Weights& wv = kWeights[pv % kPhases];
  const unsigned iv = pv / kPhases - 1;
  const float* column = &lattice_[(pu / kPhases - 1) % kSide];
  std::array<float, 4> sums{};
  for (unsigned j = 0; j < 4; ++j) {
    const float* row = column + (iv + j) % kSide * kRow;
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
