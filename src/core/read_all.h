#pragma once

#include <istream>
#include <optional>
#include <string>

namespace endgrade {

// All that a stream holds; nothing where it ends for want of reading, not of bytes. Copying its
// buffer into another stream tells the two apart only by what an empty file does, too.
[[nodiscard]] inline std::optional<std::string> ReadAll(std::istream& stream) {
  constexpr std::streamsize kAtOnce = 1 << 16;
  std::string bytes;
  while (stream) {
    const auto so_far = bytes.size();
    bytes.resize(so_far + kAtOnce);
    stream.read(bytes.data() + so_far, kAtOnce);
    bytes.resize(so_far + static_cast<std::size_t>(stream.gcount()));
  }
  if (stream.bad() || !stream.eof()) return std::nullopt;
  return bytes;
}

}  // namespace endgrade
