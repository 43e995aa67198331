// A comparison for a terminal.
#pragma once

#include "compare_page/comparison_result.h"

#include <string>

namespace endgrade::compare_page {

// Verdict of each photograph, how they lie on each other, what went, stayed, moved and came, and
// what to do next. Ends in a newline; no control characters pass through.
[[nodiscard]] std::string ComparisonText(const Compared& compared);

// "4 gone, 1 still there, 1 new": what there is none of is left out; "nothing was found" for none.
[[nodiscard]] std::string CountWords(const Comparison& comparison);

}  // namespace endgrade::compare_page
