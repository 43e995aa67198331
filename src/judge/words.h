// Numbers and nouns as the sentences of a verdict write them.
#pragma once

#include "endgrade/limits.h"

#include <string>
#include <vector>

namespace endgrade {

[[nodiscard]] std::string Fixed(double value, int decimals);

// "zone B, cladding".
[[nodiscard]] std::string ZoneWords(const Zone& zone);

// "1 defect", "3 scratches", "2 features".
[[nodiscard]] std::string CountWords(int count, RuleKind kind);

// A size to one decimal, or as many (up to three) as it takes to fall on the right side of a
// range's ends: 5.04 is "5.04" beside "over 5 um".
[[nodiscard]] std::string SizeBeside(double size_um, const SizeRange& range);

// "A", "A and B", "A, B and C".
[[nodiscard]] std::string Joined(const std::vector<std::string>& words);

}  // namespace endgrade
