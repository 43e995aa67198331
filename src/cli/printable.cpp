#include "cli/printable.h"

#include <array>
#include <cstdint>
#include <cstdio>

namespace endgrade::cli {
namespace {

// Length of the well-formed UTF-8 sequence at the start of `text` (RFC 3629, section 4); 0 if none.
std::size_t SequenceLength(std::string_view text) {
  const auto byte = [&](std::size_t i) {
    return i < text.size() ? static_cast<std::uint8_t>(text[i]) : std::uint8_t{0};
  };
  const auto is_tail = [&](std::size_t i) { return byte(i) >= 0x80 && byte(i) <= 0xBF; };
  const std::uint8_t lead = byte(0);
  if (lead < 0x80) return 1;
  if (lead >= 0xC2 && lead <= 0xDF) return is_tail(1) ? 2 : 0;
  if (lead >= 0xE0 && lead <= 0xEF) {
    const bool overlong = lead == 0xE0 && byte(1) < 0xA0;
    const bool surrogate = lead == 0xED && byte(1) > 0x9F;
    return is_tail(1) && is_tail(2) && !overlong && !surrogate ? 3 : 0;
  }
  if (lead >= 0xF0 && lead <= 0xF4) {
    const bool overlong = lead == 0xF0 && byte(1) < 0x90;
    const bool beyond = lead == 0xF4 && byte(1) > 0x8F;
    return is_tail(1) && is_tail(2) && is_tail(3) && !overlong && !beyond ? 4 : 0;
  }
  return 0;
}

bool IsControl(std::string_view sequence) {
  const auto lead = static_cast<std::uint8_t>(sequence[0]);
  if (sequence.size() == 1) return lead < 0x20 || lead == 0x7F;
  return sequence.size() == 2 && lead == 0xC2 && static_cast<std::uint8_t>(sequence[1]) < 0xA0;
}

void AppendEscaped(std::string_view bytes, std::string* out) {
  for (const char c : bytes) {
    std::array<char, 5> escaped{};
    std::snprintf(escaped.data(), escaped.size(), "\\x%02x", static_cast<std::uint8_t>(c));
    out->append(escaped.data());
  }
}

}  // namespace

std::string Printable(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    const std::size_t length = SequenceLength(text);
    const std::string_view sequence = text.substr(0, length == 0 ? 1 : length);
    if (length == 0 || IsControl(sequence)) {
      AppendEscaped(sequence, &out);
    } else {
      out += sequence;
    }
    text.remove_prefix(sequence.size());
  }
  return out;
}

void PrintErrorLine(std::string_view line) {
  const std::string text = Printable(line) + '\n';
  std::fwrite(text.data(), 1, text.size(), stderr);
}

}  // namespace endgrade::cli
