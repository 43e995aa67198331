// Problems on stderr, a line each.
#pragma once

#include <string_view>

namespace endgrade::cli {

// The text and a newline, on stderr. Control characters of file names do not pass through.
void PrintErrorLine(std::string_view text);

}  // namespace endgrade::cli
