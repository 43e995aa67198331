#include "locate/nth_smallest.h"

#include <algorithm>
#include <array>
#include <span>

namespace endgrade::locate {
namespace {

constexpr std::size_t kFew = 12;       // are sorted
constexpr std::size_t kOnStack = 256;  // values that need no memory

float MiddleOf(float a, float b, float c) {
  return std::max(std::min(a, b), std::min(std::max(a, b), c));
}

float PivotOf(std::span<const float> values) {
  const std::size_t step = values.size() / 8;
  const auto three = [&](std::size_t at) {
    return MiddleOf(values[at * step], values[(at + 1) * step], values[(at + 2) * step]);
  };
  return values.size() < 40 ? three(3) : MiddleOf(three(0), three(3), three(5));
}

// Puts those below the pivot to the front of one place and all others to the front of another;
// returns how many are below.
std::size_t Part(std::span<const float> values, float pivot, float* below, float* others) {
  std::size_t low = 0;
  std::size_t high = 0;
  for (const float value : values) {
    below[low] = value;
    others[high] = value;
    const std::size_t is_below = value < pivot ? 1 : 0;
    low += is_below;
    high += 1 - is_below;
  }
  return low;
}

float Select(std::span<float> values, std::size_t rank, float* spare, float* spare_too) {
  while (values.size() > kFew) {
    const float pivot = PivotOf(values);
    const std::size_t low = Part(values, pivot, spare, spare_too);
    float* used = values.data();
    if (rank < low) {
      values = {spare, low};
      spare = used;
      continue;
    }
    rank -= low;
    values = {spare_too, values.size() - low};
    spare_too = used;
    if (low > 0) continue;
    // The pivot is the least of all: past its likes, or it would be so again.
    const auto alike = static_cast<std::size_t>(std::count(values.begin(), values.end(), pivot));
    if (rank < alike || alike == 0) return pivot;
    const auto end = std::remove(values.begin(), values.end(), pivot);
    values = {values.begin(), end};
    rank -= alike;
  }
  std::sort(values.begin(), values.end());
  return values[rank];
}

}  // namespace

float NthSmallest(std::vector<float>* values, std::size_t rank) {
  if (values->size() <= kOnStack) {
    std::array<float, kOnStack> spare, spare_too;
    return Select(*values, rank, spare.data(), spare_too.data());
  }
  std::vector<float> spare(2 * values->size());
  return Select(*values, rank, spare.data(), spare.data() + values->size());
}

}  // namespace endgrade::locate
