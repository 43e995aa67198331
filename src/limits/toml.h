// The one way in which toml++ is included: from its headers alone, so that users of the installed
// library need not have it, compiled once in toml.cpp, for it takes long, and without exceptions,
// so that a mistake in a file is a value with a line number.
#pragma once

#define TOML_HEADER_ONLY 0
#define TOML_EXCEPTIONS 0
#define TOML_ENABLE_FORMATTERS 0

#include <toml++/impl/preprocessor.h>

// toml++ 3.3 takes for granted that a key follows "[[", and tells the compiler so; a file that says
// "[[[" would be undefined behaviour. Its parser has an error for that case, which this lets it
// reach.
#undef TOML_ASSERT_ASSUME
#define TOML_ASSERT_ASSUME(expr) static_assert(true)

// It also takes for granted that certain characters, such as those of U+00A1 to U+0499, are never
// asked whether they are spaces, and asks them just that outside of quotes ("size = 5 µm").
#include <toml++/impl/forward_declarations.h>  // what it needs itself
#pragma push_macro("TOML_UNREACHABLE")
#undef TOML_UNREACHABLE
#define TOML_UNREACHABLE return false
#include <toml++/impl/unicode.h>
#pragma pop_macro("TOML_UNREACHABLE")

#include <toml++/toml.h>

#include <string>
#include <string_view>

namespace endgrade {

// What the parser has to say of a file, on one line: it may quote a line's end as it stands.
inline std::string WordsOf(const toml::parse_error& error) {
  std::string words;
  for (const char c : std::string_view(error.description())) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '\n') {
      words += "\\n";
    } else {
      words += byte < 0x20 || byte == 0x7F ? ' ' : c;
    }
  }
  return words;
}

}  // namespace endgrade
