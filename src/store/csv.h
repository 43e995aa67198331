// Cells of a CSV file (RFC 4180) that a spreadsheet shows and never runs.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace endgrade::store {

// Text of a stranger: quoted where it must be. What a spreadsheet would take for a formula (a first
// character of = + - @, tab or carriage return) gets an apostrophe before it; control characters
// are written as \xNN.
[[nodiscard]] std::string CsvCell(std::string_view text);

// Cells with commas between them and CR LF at the end.
[[nodiscard]] std::string CsvLine(const std::vector<std::string>& cells);

}  // namespace endgrade::store
