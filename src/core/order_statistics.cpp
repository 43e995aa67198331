#include "core/order_statistics.h"

#include "core/wide.h"

#include <algorithm>
#include <array>
#include <cstring>

namespace endgrade {
namespace {

constexpr std::size_t kBuckets = OrderStatistics::kBuckets;
constexpr std::size_t kFewBuckets = 64;  // cost less to count; enough for
constexpr std::size_t kSome = 200;       // as many values
constexpr std::size_t kFew = 32;         // as many are ranked at once
constexpr std::size_t kProbed = 16;      // stretches of values tell the range of most of the others

constexpr std::size_t kSide = 8;  // values side by side

// The least and the greatest of some of the values; of all, where they are few.
struct Range {
  float low;
  float high;
};

ENDGRADE_WIDE Range Probe(const float* values, std::size_t count) {
  const std::size_t stride = std::max(kSide, count / kProbed);
  Eight low = EightAt(values).value;
  Eight high = low;
  for (std::size_t i = stride; i + kSide <= count; i += stride) {
    const Eight some = EightAt(values + i).value;
    low = some < low ? some : low;
    high = some > high ? some : high;
  }
  Range range{low[0], high[0]};
  for (std::size_t i = 1; i < kSide; ++i) {
    range.low = std::min(range.low, low[i]);
    range.high = std::max(range.high, high[i]);
  }
  return range;
}

// Takes a value to its bucket; the first and the last hold whatever lies outside the probed range.
ENDGRADE_WIDE void Deal(const float* values,
                        std::size_t count,
                        Range range,
                        std::size_t in_use,
                        std::uint8_t* __restrict buckets) {
  const auto inner = static_cast<float>(in_use - 2);
  const float low = range.low;
  const float scale = range.high > low ? inner / (range.high - low) : 0.0F;
  const auto last = static_cast<float>(in_use - 1);
  for (std::size_t i = 0; i < count; ++i) {
    const float place = (values[i] - low) * scale + 1.0F;
    buckets[i] = static_cast<std::uint8_t>(static_cast<int>(std::min(last, std::max(0.0F, place))));
  }
}

// The value of a rank among a few: it has no more than `rank` others below it, and enough not above
// it. Comparing all with all takes no branch that could be guessed wrongly.
ENDGRADE_WIDE float AmongFew(const float* values, std::size_t count, std::size_t rank) {
  for (std::size_t i = 0; i + 1 < count; ++i) {
    const float value = values[i];
    std::uint32_t below = 0;
    std::uint32_t not_above = 0;
    for (std::size_t j = 0; j < count; ++j) {
      below += values[j] < value ? 1U : 0U;
      not_above += values[j] <= value ? 1U : 0U;
    }
    if (below <= rank && rank < not_above) return value;
  }
  return values[count - 1];
}

}  // namespace

OrderStatistics::OrderStatistics(std::span<const float> values) : values_(values) {
  const std::size_t count = values.size();
  if (count <= kFew) return;
  bucket_ = short_bucket_.data();
  if (count > kOnStack) {
    long_bucket_.resize(count);
    bucket_ = long_bucket_.data();
  }
  buckets_ = count <= kSome ? kFewBuckets : kBuckets;
  Deal(values.data(), count, Probe(values.data(), count), buckets_, bucket_);
  CountThem();
}

void OrderStatistics::CountThem() {
  // Two tables: neighbours in one bucket would wait for each other. Of its own, for bytes might be
  // anything's, and a table of the object's would be thought to change what is counted.
  std::array<std::uint32_t, kBuckets> even;
  std::array<std::uint32_t, kBuckets> odd;
  std::fill_n(even.begin(), buckets_, 0U);
  std::fill_n(odd.begin(), buckets_, 0U);
  const std::uint8_t* const bucket = bucket_;
  const std::size_t count = values_.size();
  for (std::size_t i = 0; i + 1 < count; i += 2) {
    ++even[bucket[i]];
    ++odd[bucket[i + 1]];
  }
  if (count % 2 == 1) ++even[bucket[count - 1]];
  const std::size_t of_each = buckets_ / kGroups;
  for (std::size_t g = 0, b = 0; g < kGroups; ++g) {
    std::uint32_t sum = 0;
    for (const std::size_t end = b + of_each; b < end; ++b) sum += count_[b] = even[b] + odd[b];
    in_group_[g] = sum;
  }
}

std::span<float> OrderStatistics::Gather(std::uint8_t bucket) {
  std::span<float> members = short_members_;
  if (count_[bucket] > members.size()) {
    long_members_.resize(count_[bucket]);
    members = long_members_;
  }
  float* member = members.data();
  const std::uint8_t* const begin = bucket_;
  const std::uint8_t* const end = begin + values_.size();
  for (const std::uint8_t* at = begin; at < end; ++at) {
    const auto left = static_cast<std::size_t>(end - at);
    at = static_cast<const std::uint8_t*>(std::memchr(at, bucket, left));
    if (at == nullptr) break;
    *member++ = values_[static_cast<std::size_t>(at - begin)];
  }
  return members.first(count_[bucket]);
}

float OrderStatistics::At(std::size_t rank) {
  if (buckets_ == 0) return AmongFew(values_.data(), values_.size(), rank);
  std::size_t group = 0;
  for (; rank >= in_group_[group]; ++group) rank -= in_group_[group];
  std::size_t bucket = group * (buckets_ / kGroups);
  for (; rank >= count_[bucket]; ++bucket) rank -= count_[bucket];
  const std::span<float> members = Gather(static_cast<std::uint8_t>(bucket));
  if (members.size() <= kFew) return AmongFew(members.data(), members.size(), rank);
  const auto place = members.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(members.begin(), place, members.end());
  return *place;
}

}  // namespace endgrade
