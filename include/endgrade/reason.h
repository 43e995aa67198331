// Why a picture cannot be graded, or what a person should know about the grade.
#pragma once

#include <string>

namespace endgrade {

// `code` is written to records and never renamed; `text` says what it means and what to do next.
struct Reason {
  std::string code;
  std::string text;
};

}  // namespace endgrade
