#include "core/order_statistics.h"

#include "core/wide.h"

#include <algorithm>
#include <array>
#include <cstring>

namespace endgrade {
namespace {

constexpr std::size_t kBuckets = OrderStatistics::kBuckets;
constexpr std::size_t kFew = 120;    // as many are ranked at once
constexpr std::size_t kProbes = 64;  // values that tell the range of most of the others

// Takes a value to its bucket; the first and the last hold whatever lies outside the probed range.
struct Dealer {
  float low = 0;
  float scale = 0;

  explicit Dealer(std::span<const float> values) {
    const std::size_t stride = values.size() / kProbes;
    low = values.front();
    float high = low;
    for (std::size_t i = 0; i < values.size(); i += stride) {
      low = std::min(low, values[i]);
      high = std::max(high, values[i]);
    }
    if (high > low) scale = static_cast<float>(kBuckets - 2) / (high - low);
  }
};

ENDGRADE_WIDE void Deal(const Dealer& dealer,
                        const float* values,
                        std::size_t count,
                        std::uint8_t* __restrict buckets) {
  const float low = dealer.low;
  const float scale = dealer.scale;
  for (std::size_t i = 0; i < count; ++i) {
    const float place = (values[i] - low) * scale + 1.0F;
    buckets[i] = static_cast<std::uint8_t>(
        static_cast<int>(std::min(static_cast<float>(kBuckets - 1), std::max(0.0F, place))));
  }
}

}  // namespace

OrderStatistics::OrderStatistics(std::span<const float> values) : values_(values) {
  if (values.size() <= kFew) return;
  const Dealer dealer(values);
  bucket_.resize(values.size());
  Deal(dealer, values.data(), values.size(), bucket_.data());
  // Two tables: neighbours in one bucket would wait for each other.
  std::array<std::array<std::uint32_t, kBuckets>, 2> counts{};
  for (std::size_t i = 0; i + 1 < bucket_.size(); i += 2) {
    ++counts[0][bucket_[i]];
    ++counts[1][bucket_[i + 1]];
  }
  if (bucket_.size() % 2 == 1) ++counts[0][bucket_.back()];
  for (std::size_t b = 0; b < kBuckets; ++b) count_[b] = counts[0][b] + counts[1][b];
}

void OrderStatistics::Gather(std::uint8_t bucket) {
  members_.clear();
  const std::uint8_t* const begin = bucket_.data();
  const std::uint8_t* const end = begin + bucket_.size();
  for (const std::uint8_t* at = begin; at < end; ++at) {
    const auto left = static_cast<std::size_t>(end - at);
    at = static_cast<const std::uint8_t*>(std::memchr(at, bucket, left));
    if (at == nullptr) break;
    members_.push_back(values_[static_cast<std::size_t>(at - begin)]);
  }
}

float OrderStatistics::At(std::size_t rank) {
  if (bucket_.empty()) {
    members_.assign(values_.begin(), values_.end());
  } else {
    std::size_t bucket = 0;
    for (; rank >= count_[bucket]; ++bucket) rank -= count_[bucket];
    Gather(static_cast<std::uint8_t>(bucket));
  }
  const auto place = members_.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(members_.begin(), place, members_.end());
  return *place;
}

}  // namespace endgrade
