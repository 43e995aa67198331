// Exponential, logarithm and normal distribution in single precision, without branches or tables:
// in a loop the compiler works out many at once. The same bits on every machine.
#pragma once

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>

namespace endgrade {

// The greater of x and a number above 0. Such numbers are ordered as their bits are, and compilers
// make a branch of comparing floats, which may trap.
inline float AtLeast(float least, float x) {
  return std::bit_cast<float>(
      std::max(std::bit_cast<std::int32_t>(x), std::bit_cast<std::int32_t>(least)));
}

// e^x within 2 parts in 10^7, for x within [-87, 88]. Range reduction and polynomial of Cephes'
// expf (Moshier; coefficients from memory, checked in tests/core/elementary_test.cpp).
inline float ExpOf(float x) {
  constexpr float kRound = 12582912.0F;  // 1.5 * 2^23: adding it rounds to a whole number
  const float n = (x * 1.44269504F + kRound) - kRound;
  const float r = (x - n * 0.693359375F) + n * 2.12194440e-4F;
  float p = 1.9875691500e-4F;
  p = p * r + 1.3981999507e-3F;
  p = p * r + 8.3334519073e-3F;
  p = p * r + 4.1665795894e-2F;
  p = p * r + 1.6666665459e-1F;
  p = p * r + 5.0000001201e-1F;
  const float power = std::bit_cast<float>((static_cast<std::int32_t>(n) + 127) << 23);
  return (p * r * r + r + 1.0F) * power;
}

// Natural logarithm within 2 parts in 10^7, of 1 near 1, for normal numbers above 0. Cephes' logf.
inline float LogOf(float x) {
  const auto bits = std::bit_cast<std::int32_t>(x);
  const std::int32_t whole = (bits - 0x3f3504f3) >> 23;  // the rest lies from sqrt(1/2) to sqrt(2)
  const float r = std::bit_cast<float>(bits - whole * (1 << 23)) - 1.0F;
  const auto n = static_cast<float>(whole);
  const float square = r * r;
  float p = 7.0376836292e-2F;
  p = p * r - 1.1514610310e-1F;
  p = p * r + 1.1676998740e-1F;
  p = p * r - 1.2420140846e-1F;
  p = p * r + 1.4249322787e-1F;
  p = p * r - 1.6668057665e-1F;
  p = p * r + 2.0000714765e-1F;
  p = p * r - 2.4999993993e-1F;
  p = p * r + 3.3333331174e-1F;
  const float low = p * r * square - 2.12194440e-4F * n - 0.5F * square;
  return r + low + 0.693359375F * n;
}

// The normal distribution: its density, and the share below z, within 3 parts in 10^7 of 1.
struct NormalAt {
  float density;
  float below;
};

// Abramowitz & Stegun, Handbook of Mathematical Functions, 26.2.17 (from memory): |error| < 7.5e-8.
inline NormalAt NormalOf(float z) {
  const std::int32_t away = std::bit_cast<std::int32_t>(z) & 0x7fffffff;
  // Far enough for the share to be 0 or 1, and near enough for the density's small multiples to be
  // normal numbers: processors take a hundred times as long over others.
  const float size = std::bit_cast<float>(std::min(away, std::bit_cast<std::int32_t>(11.0F)));
  const float density = 0.39894228F * ExpOf(-0.5F * size * size);
  const float t = 1.0F / (1.0F + 0.2316419F * size);
  float p = 1.330274429F;
  p = p * t - 1.821255978F;
  p = p * t + 1.781477937F;
  p = p * t - 0.356563782F;
  p = p * t + 0.319381530F;
  const float beyond = density * p * t;
  return {density, 0.5F + std::copysign(0.5F - beyond, z)};
}

}  // namespace endgrade
