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
  // It points into itself.
  OrderStatistics(const OrderStatistics&) = delete;
  OrderStatistics& operator=(const OrderStatistics&) = delete;

  // The value with `rank` others before it in ascending order; rank < values.size().
  [[nodiscard]] float At(std::size_t rank);

 private:
  static constexpr std::size_t kGroups = 16;
  static constexpr std::size_t kOnStack = 1024;  // values, most of the time

  void CountThem();
  std::span<float> Gather(std::uint8_t bucket);

  std::span<const float> values_;
  std::size_t buckets_ = 0;         // in use; 0: few values, not dealt at all
  std::uint8_t* bucket_ = nullptr;  // of every value
  std::vector<std::uint8_t> long_bucket_;
  std::vector<float> long_members_;  // of the bucket looked into
  std::array<std::uint8_t, kOnStack> short_bucket_;
  std::array<float, kOnStack> short_members_;
  std::array<std::uint32_t, kBuckets> count_;
  std::array<std::uint32_t, kGroups> in_group_;  // of as many buckets each
};

}  // namespace endgrade
