// What a lot's report carries inside: records, limits and settings, to be held against the
// photographs later.
#pragma once

#include "lot/settings.h"
#include "store/store.h"
#include "summary/faces.h"

#include <cstddef>
#include <string>

namespace endgrade::report {

// A list of evidence as JSON: every photograph of the report that could be read. Records go in
// whole, those that do not pass first, until they take `most_bytes`; of the others their hash and
// verdict, from which `endgrade verify` still tells whether the record is the same.
[[nodiscard]] Result<std::string> LotEvidence(const store::Store& store,
                                              const lot::Settings& settings,
                                              const summary::Cords& cords,
                                              std::size_t most_bytes);

}  // namespace endgrade::report
