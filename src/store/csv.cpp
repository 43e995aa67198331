#include "store/csv.h"

#include "present/escape.h"

namespace endgrade::store {

std::string CsvCell(std::string_view text) {
  const bool is_formula =
      !text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos;
  const std::string plain = (is_formula ? "'" : "") + PrintableText(text);
  if (plain.find_first_of(",\"'; ") == std::string::npos) return plain;
  std::string quoted = "\"";
  for (const char c : plain) {
    if (c == '"') quoted += '"';
    quoted += c;
  }
  return quoted + '"';
}

std::string CsvLine(const std::vector<std::string>& cells) {
  std::string line;
  for (const std::string& cell : cells) {
    if (&cell != &cells.front()) line += ',';
    line += CsvCell(cell);
  }
  return line + "\r\n";
}

}  // namespace endgrade::store
