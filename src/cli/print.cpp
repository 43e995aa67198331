#include "cli/print.h"

#include "cli/error_line.h"
#include "cli/exit_codes.h"

#include <cstdio>

namespace endgrade::cli {

void Print(const std::string& text) { std::fwrite(text.data(), 1, text.size(), stdout); }

int Refuse(const Error& error) {
  PrintErrorLine(error.Text());
  return kBadInput;
}

}  // namespace endgrade::cli
