// Brightness at many places between the cells of an image. What is the same for all places is
// worked out eight at a time; the cells themselves are fetched one by one.
#pragma once

#include "core/wide.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstring>

namespace endgrade::locate {

class BetweenCells {
 public:
  static constexpr std::size_t kMost = 64;  // places at once
  static constexpr std::size_t kEight = 8;

  BetweenCells(const float* cells, int stride) : cells_(cells), stride_(stride) {}

  // Of places `first` and the seven after it: x and y are at least 0, and there is a cell to the
  // right of them and one below.
  [[gnu::always_inline]] void Set(std::size_t first, const Eight& x, const Eight& y) {
    using EightInts = int __attribute__((vector_size(32)));
    const EightInts x0 = __builtin_convertvector(x, EightInts);
    const EightInts y0 = __builtin_convertvector(y, EightInts);
    EightAt(fx_.data() + first).value = x - __builtin_convertvector(x0, Eight);
    EightAt(fy_.data() + first).value = y - __builtin_convertvector(y0, Eight);
    const EightInts place = y0 * stride_ + x0;
    std::memcpy(place_.data() + first, &place, sizeof place);
  }

  // Adds the first `count` to as many before, and gives them out.
  [[gnu::always_inline]] void Add(const float* before, std::size_t count, float* out) {
    std::array<float, kMost> upper, upper_next, lower, lower_next;
    for (std::size_t i = 0; i < count; ++i) {
      const float* cell = cells_ + place_[i];
      upper[i] = cell[0];
      upper_next[i] = cell[1];
      lower[i] = cell[stride_];
      lower_next[i] = cell[stride_ + 1];
    }
    for (std::size_t i = 0; i < count; ++i) {
      const float top = upper[i] + fx_[i] * (upper_next[i] - upper[i]);
      const float low = lower[i] + fx_[i] * (lower_next[i] - lower[i]);
      out[i] = before[i] + (top + fy_[i] * (low - top));
    }
  }

 private:
  const float* cells_;
  int stride_;
  std::array<float, kMost> fx_, fy_;
  std::array<int, kMost> place_;
};

}  // namespace endgrade::locate
