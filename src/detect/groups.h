// Things numbered from 0, joined two by two.
#pragma once

#include <algorithm>
#include <cstddef>
#include <numeric>
#include <vector>

namespace endgrade {

class Groups {
 public:
  explicit Groups(std::size_t count) : parent_(count) {
    std::iota(parent_.begin(), parent_.end(), std::size_t{0});
  }
  // The lowest of those that i was joined to.
  std::size_t Find(std::size_t i) {
    while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
    return i;
  }
  void Join(std::size_t a, std::size_t b) {
    const std::size_t low = std::min(Find(a), Find(b));
    const std::size_t high = std::max(Find(a), Find(b));
    parent_[high] = low;
  }

 private:
  std::vector<std::size_t> parent_;
};

}  // namespace endgrade
