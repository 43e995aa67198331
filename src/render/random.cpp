#include "render/random.h"

#include <array>
#include <cmath>

namespace endgrade::render {
namespace {

// Ziggurat of 128 layers: Doornik 2005, "An improved ziggurat method to generate normal random
// samples", constants of its table for C = 128.
constexpr int kLayers = 128;
constexpr double kTailStart = 3.442619855899;
constexpr double kLayerArea = 9.91256303526217e-3;

struct Ziggurat {
  std::array<double, kLayers + 1> x{};
  std::array<double, kLayers> ratio{};

  Ziggurat() {
    double f = std::exp(-0.5 * kTailStart * kTailStart);
    x[0] = kLayerArea / f;
    x[1] = kTailStart;
    x[kLayers] = 0;
    for (size_t i = 2; i < kLayers; ++i) {
      x[i] = std::sqrt(-2 * std::log(kLayerArea / x[i - 1] + f));
      f = std::exp(-0.5 * x[i] * x[i]);
    }
    for (size_t i = 0; i < kLayers; ++i) ratio[i] = x[i + 1] / x[i];
  }
};

const Ziggurat& Table() {
  static const Ziggurat table;
  return table;
}

}  // namespace

double Random::LogUniform(double low, double high) {
  return low * std::exp(std::log(high / low) * Uniform());
}

int Random::Int(int low, int high) {
  const auto span = static_cast<std::uint64_t>(high - low) + 1;
  return low + static_cast<int>(Bits() % span);
}

double Random::NormalTail(bool negative) {
  double x = 0;
  double y = 0;
  do {
    x = std::log(1 - Uniform()) / kTailStart;
    y = std::log(1 - Uniform());
  } while (-2 * y < x * x);
  return negative ? x - kTailStart : kTailStart - x;
}

double Random::Normal() {
  static const Ziggurat& table = Table();
  while (true) {
    const std::uint64_t bits = Bits();
    const size_t layer = bits & (kLayers - 1);
    const double u = static_cast<double>(static_cast<std::int64_t>(bits) >> 11) * 0x1.0p-52;
    if (std::abs(u) < table.ratio[layer]) return u * table.x[layer];
    if (layer == 0) return NormalTail(u < 0);
    const double x = u * table.x[layer];
    const double f0 = std::exp(-0.5 * (table.x[layer] * table.x[layer] - x * x));
    const double f1 = std::exp(-0.5 * (table.x[layer + 1] * table.x[layer + 1] - x * x));
    if (f1 + Uniform() * (f0 - f1) < 1.0) return x;
  }
}

}  // namespace endgrade::render
