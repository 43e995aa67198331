#include "cli/print.h"

#include "cli/error_line.h"
#include "cli/exit_codes.h"
#include "present/escape.h"

#include <algorithm>
#include <cstdio>
#include <string_view>

namespace endgrade::cli {

void Print(const std::string& text) {
  std::string printable;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    printable += PrintableText(std::string_view(text).substr(from, end - from));
    if (end < text.size()) printable += '\n';
    from = end + 1;
  }
  PrintRaw(printable);
}

void PrintRaw(const std::string& text) { std::fwrite(text.data(), 1, text.size(), stdout); }

int Refuse(const Error& error) {
  PrintErrorLine(error.Text());
  return kBadInput;
}

}  // namespace endgrade::cli
