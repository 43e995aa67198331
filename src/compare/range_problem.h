// What is wrong with an option's value, in the words that all options share.
#pragma once

#include <cstdio>
#include <optional>
#include <string>

namespace endgrade {

// `name`: with its struct, "CompareOptions.gone_below".
[[nodiscard]] inline std::optional<std::string> RangeProblem(const char* name,
                                                             double value,
                                                             double low,
                                                             double high) {
  if (value >= low && value <= high) return std::nullopt;
  char text[160];
  std::snprintf(text, sizeof text, "%s = %g: must be within [%g, %g]", name, value, low, high);
  return text;
}

}  // namespace endgrade
