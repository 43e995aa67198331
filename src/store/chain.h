// Each row is chained to the one before by a hash: a later edit of any of them shows.
#pragma once

#include "store/row.h"

#include <string>
#include <vector>

namespace endgrade::store {

// What the first row is chained to.
[[nodiscard]] std::string ChainStart();

// SHA-256 of `before` and every field, each led by its length, so that no two lists of fields give
// the same bytes.
[[nodiscard]] std::string ChainOf(const std::string& before,
                                  const std::vector<std::string>& fields);

// The hash of a row that stands after one with hash `before`; `row.chain` is not looked at.
[[nodiscard]] std::string ChainOf(const std::string& before, const Row& row);

}  // namespace endgrade::store
