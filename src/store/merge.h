// Several stores of parts of one lot become the store of the whole.
#pragma once

#include "store/store.h"

#include <filesystem>
#include <vector>

namespace endgrade::store {

// Rows of all parts, ordered by path (rows of one path by part and seq), each once: the same rows
// in the same order, and so the same head, as one run over all photographs. Every part's chain is
// checked first. `target` must not be there yet; it appears whole or not at all.
//
//   errors    of opening; kCorrupt for a part that was edited; kBadOption when the target exists or
//             two parts graded one photograph differently
[[nodiscard]] std::optional<Error> Merge(const std::filesystem::path& target,
                                         const std::vector<std::filesystem::path>& parts);

}  // namespace endgrade::store
