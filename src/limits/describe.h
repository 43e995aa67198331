// Limits in words, for a terminal: what `endgrade limits list`, `show` and `check` print.
#pragma once

#include "endgrade/limits.h"

#include <filesystem>
#include <string>
#include <vector>

namespace endgrade {

// One letter or digit as the files write it, and what it stands for.
[[nodiscard]] std::string CertaintyMark(Certainty certainty);
[[nodiscard]] std::string CertaintyWords(Certainty certainty);

// Everything the limits say: fibre, zones with their rules and must-see sizes, certainty beside
// each value, sources below. Lines of at most 100 columns, ending in a newline.
[[nodiscard]] std::string DescribeLimits(const Limits& limits);

// One line each: ID, title, how sure the least sure value is, and edition below; a broken file its
// error.
[[nodiscard]] std::string DescribeLimitsList(const std::vector<Result<Limits>>& list);

// "zones/x.toml: good, 4 zones and 12 rules", or every mistake and warning, one a line.
[[nodiscard]] std::string DescribeLimitsCheck(const std::filesystem::path& path,
                                              const LimitsCheck& check);

}  // namespace endgrade
