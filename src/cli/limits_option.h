// What every verb that grades asks for: the limits, and an answer when they are left out.
#pragma once

#include <CLI/CLI.hpp>

#include <string>

namespace endgrade::cli {

void AddLimitsOption(CLI::App& verb, std::string* limits);

// A wrong table could pass a face that should fail, so there is no table by default. Throws
// CLI::ValidationError that lists those there are when `limits` is empty.
void RequireLimits(const std::string& limits);

}  // namespace endgrade::cli
