// What several verbs say in the same way.
#pragma once

#include "endgrade/result.h"

#include <string>

namespace endgrade::cli {

// Words for people, on stdout: whatever a stranger's name or text holds, each line goes through
// PrintableText.
void Print(const std::string& text);

// What other programs read, on stdout, byte for byte.
void PrintRaw(const std::string& text);

// The error's line on stderr; returns kBadInput.
[[nodiscard]] int Refuse(const Error& error);

}  // namespace endgrade::cli
