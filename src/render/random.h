// The renderer's own random numbers: the same on every machine, unlike std's distributions.
#pragma once

#include <cstdint>

namespace endgrade::render {

// Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators": the finaliser.
[[nodiscard]] constexpr std::uint64_t Mix(std::uint64_t z) {
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
  return z ^ (z >> 31);
}

// A seed for a stream of its own: of grain, of row 7's noise, of feature 3's outline.
[[nodiscard]] constexpr std::uint64_t SubSeed(std::uint64_t seed, std::uint64_t stream) {
  return Mix(Mix(seed + 0x9e3779b97f4a7c15ULL) ^ (stream * 0xd1342543de82ef95ULL + 1));
}

class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}

  [[nodiscard]] std::uint64_t Bits() { return Mix(state_ += 0x9e3779b97f4a7c15ULL); }
  [[nodiscard]] double Uniform() { return static_cast<double>(Bits() >> 11) * 0x1.0p-53; }
  [[nodiscard]] double Uniform(double low, double high) { return low + (high - low) * Uniform(); }
  [[nodiscard]] double LogUniform(double low, double high);
  [[nodiscard]] int Int(int low, int high);  // both ends included
  [[nodiscard]] bool Chance(double p) { return Uniform() < p; }
  [[nodiscard]] double Normal();  // mean 0, standard deviation 1

 private:
  double NormalTail(bool negative);
  std::uint64_t state_;
};

}  // namespace endgrade::render
