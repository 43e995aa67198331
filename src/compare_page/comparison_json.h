// The record of a comparison; schema "endgrade.comparison/1",
// tests/cli/endgrade.comparison-1.schema.json.
#pragma once

#include "compare_page/comparison_result.h"

#include <string>

namespace endgrade::compare_page {

// One line of JSON, no newline. Numbers have fixed decimals; what is not known is null. The same
// photographs, limits and build give the same bytes.
[[nodiscard]] std::string ComparisonJson(const Compared& compared);

}  // namespace endgrade::compare_page
