// Text that is safe to print: file names may hold anything but a slash and a zero.
#pragma once

#include <string>
#include <string_view>

namespace endgrade::cli {

// The text with control characters (C0, DEL, C1) and bytes that are not UTF-8 as \xNN, so that it
// stays on its line and drives no terminal.
[[nodiscard]] std::string Printable(std::string_view text);

// Printable(line) and a newline, on stderr.
void PrintErrorLine(std::string_view line);

}  // namespace endgrade::cli
