// Brightness at many places between the cells of an image. What is the same for all places is
// worked out eight at a time; the cells themselves are fetched two by two.
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
  [[gnu::always_inline]] void Add(const float* before, std::size_t count, float* out) const {
    const std::size_t whole = count - count % kEight;
    for (std::size_t i = 0; i < whole; i += kEight) {
      Eight upper, upper_next, lower, lower_next;
      ReadPairs(cells_, i, &upper, &upper_next);
      ReadPairs(cells_ + stride_, i, &lower, &lower_next);
      const Eight& fx = EightAt(fx_.data() + i).value;
      const Eight top = upper + fx * (upper_next - upper);
      const Eight low = lower + fx * (lower_next - lower);
      const Eight& fy = EightAt(fy_.data() + i).value;
      EightAt(out + i).value = EightAt(before + i).value + (top + fy * (low - top));
    }
    for (std::size_t i = whole; i < count; ++i) {
      const float* cell = cells_ + place_[i];
      const float* below = cell + stride_;
      const float top = cell[0] + fx_[i] * (cell[1] - cell[0]);
      const float low = below[0] + fx_[i] * (below[1] - below[0]);
      out[i] = before[i] + (top + fy_[i] * (low - top));
    }
  }

 private:
  // Two cells side by side, in one piece.
  [[gnu::always_inline]] long long PairAt(const float* cells, std::size_t i) const {
    long long pair;
    std::memcpy(&pair, cells + place_[i], sizeof pair);
    return pair;
  }

  // At eight places from `first` on: the cell, and the next.
  [[gnu::always_inline]] void ReadPairs(const float* cells,
                                        std::size_t first,
                                        Eight* here,
                                        Eight* next) const {
    using FourPairs = long long __attribute__((vector_size(32)));
    const FourPairs four = {PairAt(cells, first),
                            PairAt(cells, first + 1),
                            PairAt(cells, first + 2),
                            PairAt(cells, first + 3)};
    const FourPairs more = {PairAt(cells, first + 4),
                            PairAt(cells, first + 5),
                            PairAt(cells, first + 6),
                            PairAt(cells, first + 7)};
    Eight a, b;
    std::memcpy(&a, &four, sizeof a);
    std::memcpy(&b, &more, sizeof b);
    *here = __builtin_shufflevector(a, b, 0, 2, 4, 6, 8, 10, 12, 14);
    *next = __builtin_shufflevector(a, b, 1, 3, 5, 7, 9, 11, 13, 15);
  }

  const float* cells_;
  int stride_;
  std::array<float, kMost> fx_, fy_;
  std::array<int, kMost> place_;
};

}  // namespace endgrade::locate
