#include "flatten/weighted_median.h"

#include "core/wide.h"

#include <algorithm>
#include <cstddef>

namespace endgrade {
namespace {

// Takes each value to its bucket; the first and the last hold whatever lies outside of the range.
ENDGRADE_WIDE void Deal(const double* values,
                        std::size_t count,
                        double low,
                        double scale,
                        double last,
                        int* __restrict buckets) {
  for (std::size_t i = 0; i < count; ++i) {
    const double place = (values[i] - low) * scale + 1.0;
    buckets[i] = static_cast<int>(std::min(last, std::max(0.0, place)));
  }
}

}  // namespace

WeightedMedian::WeightedMedian(const std::vector<double>& weights)
    : weights_(weights), bucket_(weights.size()) {
  double total = 0.0;
  for (const double weight : weights) total += weight;
  half_ = 0.5 * total;
}

double WeightedMedian::Of(const std::vector<double>& values) {
  if (values.empty()) return 0.0;
  DealOut(values);
  double below = 0.0;
  int median = bucket_.front();
  for (int bucket = 0; bucket < kBuckets; ++bucket) {
    const double here = weight_[static_cast<std::size_t>(bucket)];
    if (here <= 0.0) continue;
    median = bucket;
    if (below + here >= half_) break;
    below += here;
  }
  members_.clear();
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (bucket_[i] == median) members_.emplace_back(values[i], weights_[i]);
  }
  return Rank(below);
}

void WeightedMedian::DealOut(const std::vector<double>& values) {
  constexpr std::size_t kProbes = 64;  // tell the range of most of the others
  double low = values.front();
  double high = low;
  const std::size_t stride = std::max<std::size_t>(1, values.size() / kProbes);
  for (std::size_t i = 0; i < values.size(); i += stride) {
    low = std::min(low, values[i]);
    high = std::max(high, values[i]);
  }
  const double scale = high > low ? (kBuckets - 2) / (high - low) : 0.0;
  Deal(values.data(), values.size(), low, scale, kBuckets - 1, bucket_.data());
  weight_.fill(0.0);
  for (std::size_t i = 0; i < values.size(); ++i) {
    weight_[static_cast<std::size_t>(bucket_[i])] += weights_[i];
  }
}

// Halves what the median is looked for in until little is left. `below`: weight of what is less
// than all members.
double WeightedMedian::Rank(double below) {
  constexpr std::ptrdiff_t kFew = 32;
  auto begin = members_.begin();
  auto end = members_.end();
  while (end - begin > kFew) {
    const auto middle = begin + (end - begin) / 2;
    std::nth_element(begin, middle, end);
    double here = 0.0;
    for (auto i = begin; i != middle; ++i) here += i->second;
    if (below + here >= half_) {
      end = middle;
    } else {
      below += here;
      begin = middle;
    }
  }
  std::sort(begin, end);
  for (auto i = begin; i != end; ++i) {
    below += i->second;
    if (below >= half_) return i->first;
  }
  return (end - 1)->first;
}

}  // namespace endgrade
