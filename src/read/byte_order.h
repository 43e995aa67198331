// Numbers as files store them. Offsets must lie within the bytes.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

namespace endgrade::read {

[[nodiscard]] inline std::uint32_t Byte(std::string_view bytes, std::size_t at) {
  return static_cast<unsigned char>(bytes[at]);
}
[[nodiscard]] inline std::uint32_t BigEndian16(std::string_view bytes, std::size_t at) {
  return Byte(bytes, at) << 8 | Byte(bytes, at + 1);
}
[[nodiscard]] inline std::uint32_t BigEndian32(std::string_view bytes, std::size_t at) {
  return BigEndian16(bytes, at) << 16 | BigEndian16(bytes, at + 2);
}
[[nodiscard]] inline std::uint32_t LittleEndian16(std::string_view bytes, std::size_t at) {
  return Byte(bytes, at + 1) << 8 | Byte(bytes, at);
}
[[nodiscard]] inline std::uint32_t LittleEndian32(std::string_view bytes, std::size_t at) {
  return LittleEndian16(bytes, at + 2) << 16 | LittleEndian16(bytes, at);
}

}  // namespace endgrade::read
