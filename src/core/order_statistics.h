// Values by rank, without sorting: a few quantiles of thousands of values cost a few passes.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace endgrade {

// Exactly what std::nth_element finds. Values are dealt into buckets by size once; a rank is then
// looked for within its bucket only. The values must be finite and outlive it.
class OrderStatistics {
 public:
  static constexpr std::size_t kBuckets = 256;

  explicit OrderStatistics(std::span<const float> values);

  // The value with `rank` others before it in ascending order; rank < values.size().
  [[nodiscard]] float At(std::size_t rank);

 private:
  void Gather(std::uint8_t bucket);

  std::span<const float> values_;
  std::vector<std::uint8_t> bucket_;  // of every value; empty for few
  std::vector<float> members_;        // of the bucket looked into
  std::array<std::size_t, kBuckets> count_{};
};

}  // namespace endgrade
