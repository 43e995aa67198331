// What several verbs say in the same way.
#pragma once

#include "endgrade/result.h"

#include <string>

namespace endgrade::cli {

// On stdout, as it is: texts of strangers go through PrintableText first.
void Print(const std::string& text);

// The error's line on stderr; returns kBadInput.
[[nodiscard]] int Refuse(const Error& error);

}  // namespace endgrade::cli
