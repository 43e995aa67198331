#include "cli/error_line.h"

#include "present/escape.h"

#include <cstdio>
#include <string>

namespace endgrade::cli {

void PrintErrorLine(std::string_view text) {
  const std::string line = PrintableText(text) + '\n';
  std::fwrite(line.data(), 1, line.size(), stderr);
}

}  // namespace endgrade::cli
