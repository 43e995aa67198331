// Size ranges: how a limits file writes them, how a person reads them, and where they meet.
#pragma once

#include "endgrade/limits.h"

#include <compare>
#include <optional>
#include <string>
#include <string_view>

namespace endgrade {

// Reads "any", "< 2", "<= 3", "> 5", ">= 10", "2 to 5" (both ends belong), "> 2 to 5" or "2 to <
// 5". Nothing for anything else, for ends that are not finite and positive, and for an empty range.
[[nodiscard]] std::optional<SizeRange> ParseSizeRange(std::string_view text);

// What ParseSizeRange accepts, for error messages.
inline constexpr const char* kSizeNotation =
    R"("any", "< 2", "<= 3", "> 5", ">= 10", "2 to 5" (both ends belong), "> 2 to 5" or "2 to < 5")";

// "of any size", "over 3 um", "from 2 to 5 um".
[[nodiscard]] std::string SizeWords(const SizeRange& range);

// "at most 5 from 2 to 5 um", "none over 3 um", "no limit up to 3 um".
[[nodiscard]] std::string RuleWords(const Rule& rule);

// "2", "62.5": as short as it reads back.
[[nodiscard]] std::string NumberWords(double value);

// A place between sizes: just before `at_um`, or just after it. Ranges with open and closed ends
// become half-open spans between cuts, which compare exactly.
struct Cut {
  double at_um = 0;
  bool after = false;

  auto operator<=>(const Cut&) const = default;
};

[[nodiscard]] Cut LowerCut(const SizeRange& range);  // no lower end: just before 0
[[nodiscard]] Cut UpperCut(const SizeRange& range);  // no upper end: infinity
[[nodiscard]] bool Overlap(const SizeRange& a, const SizeRange& b);
// Whether every size of `inner` is one of `outer`.
[[nodiscard]] bool Holds(const SizeRange& outer, const SizeRange& inner);

// The sizes between two cuts, as a range.
[[nodiscard]] SizeRange Between(Cut lower, Cut upper);

}  // namespace endgrade
