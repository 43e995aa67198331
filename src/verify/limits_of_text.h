// Limits from the texts that a file carries.
#pragma once

#include "endgrade/limits.h"
#include "limits/sources.h"

#include <vector>

namespace endgrade::verify {

// Reads them from a folder of their own, which is gone afterwards. Errors: kCorrupt for names that
// lead elsewhere, kWriteFailed without room for temporary files, kBadLimits.
[[nodiscard]] Result<Limits> LimitsOfText(const std::vector<LimitsSource>& sources);

}  // namespace endgrade::verify
