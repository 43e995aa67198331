#include "present/escape.h"

#include <cstdint>

namespace endgrade {
namespace {

std::uint8_t ByteAt(std::string_view text, std::size_t i) {
  return i < text.size() ? static_cast<std::uint8_t>(text[i]) : std::uint8_t{0};
}

// Length of the well-formed UTF-8 sequence at the start of `text` (RFC 3629, section 4); 0 if none.
std::size_t SequenceLength(std::string_view text) {
  const std::uint8_t lead = ByteAt(text, 0);
  const std::uint8_t second = ByteAt(text, 1);
  const auto is_tail = [&](std::size_t i) { return (ByteAt(text, i) & 0xC0) == 0x80; };
  if (lead < 0x80) return 1;
  if (lead >= 0xC2 && lead <= 0xDF) return is_tail(1) ? 2 : 0;
  if (lead >= 0xE0 && lead <= 0xEF) {
    const bool overlong = lead == 0xE0 && second < 0xA0;
    const bool surrogate = lead == 0xED && second > 0x9F;
    return is_tail(1) && is_tail(2) && !overlong && !surrogate ? 3 : 0;
  }
  if (lead >= 0xF0 && lead <= 0xF4) {
    const bool overlong = lead == 0xF0 && second < 0x90;
    const bool beyond = lead == 0xF4 && second > 0x8F;
    return is_tail(1) && is_tail(2) && is_tail(3) && !overlong && !beyond ? 4 : 0;
  }
  return 0;
}

bool MisleadsAReader(std::string_view sequence) {
  const std::uint8_t lead = ByteAt(sequence, 0);
  if (sequence.size() == 1) return lead < 0x20 || lead == 0x7F;
  if (sequence.size() == 2) return lead == 0xC2 && ByteAt(sequence, 1) < 0xA0;
  if (sequence.size() != 3 || lead != 0xE2) return false;
  const unsigned code = (ByteAt(sequence, 1) & 0x3Fu) << 6 | (ByteAt(sequence, 2) & 0x3Fu);
  const unsigned point = 0x2000u | code;
  return point == 0x200E || point == 0x200F || (point >= 0x2028 && point <= 0x202E) ||
         (point >= 0x2066 && point <= 0x2069);
}

void AppendEscaped(std::string_view bytes, std::string* out) {
  constexpr char kDigits[] = "0123456789abcdef";
  for (const char c : bytes) {
    const auto byte = static_cast<std::uint8_t>(c);
    *out += {'\\', 'x', kDigits[byte >> 4], kDigits[byte & 15]};
  }
}

}  // namespace

std::string PrintableText(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    const std::size_t length = SequenceLength(text);
    const std::string_view sequence = text.substr(0, length == 0 ? 1 : length);
    if (length == 0 || MisleadsAReader(sequence)) {
      AppendEscaped(sequence, &out);
    } else {
      out += sequence;
    }
    text.remove_prefix(sequence.size());
  }
  return out;
}

}  // namespace endgrade
