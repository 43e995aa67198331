// Text from strangers made safe to show: file names may hold anything but a slash and a zero.
#pragma once

#include <string>
#include <string_view>

namespace endgrade {

// The text with every control character (C0, DEL, C1), every character that turns the direction of
// writing or breaks a line (U+200E, U+200F, U+2028 to U+202E, U+2066 to U+2069), and every byte
// that is not UTF-8 (RFC 3629) written as \xNN. What comes out is well-formed UTF-8 on one line,
// drives no terminal, and reads in the order in which it is stored.
[[nodiscard]] std::string PrintableText(std::string_view text);

}  // namespace endgrade
