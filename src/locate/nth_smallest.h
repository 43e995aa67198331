// Order statistics without branches that a processor cannot foresee, which are most of the time of
// std::nth_element on floats.
#pragma once

#include <cstddef>
#include <vector>

namespace endgrade::locate {

// The value that has `rank` others before it in ascending order. Rearranges or forgets the others;
// none may be NaN.
[[nodiscard]] float NthSmallest(std::vector<float>* values, std::size_t rank);

}  // namespace endgrade::locate
