#include "read/tiff_directory.h"

#include "read/byte_order.h"
#include "read/errors.h"

#include <optional>

namespace endgrade::read {
namespace {

constexpr std::size_t kEntryBytes = 12;

struct TiffBytes {
  std::string_view bytes;
  bool is_little;

  [[nodiscard]] std::uint32_t Number(std::size_t at, std::size_t num_bytes) const {
    if (num_bytes == 1) return Byte(bytes, at);
    if (num_bytes == 2) return is_little ? LittleEndian16(bytes, at) : BigEndian16(bytes, at);
    return is_little ? LittleEndian32(bytes, at) : BigEndian32(bytes, at);
  }
};

// Bytes of a number by field type: BYTE, SHORT, LONG; 0 for what holds no plain number.
std::size_t NumberBytes(std::uint32_t type) {
  switch (type) {
    case 1:
      return 1;
    case 3:
      return 2;
    case 4:
      return 4;
    default:
      return 0;
  }
}

// The numbers of the entry at `at`, which is in the file; nothing where they are not.
std::optional<std::vector<std::uint32_t>> NumbersOf(const TiffBytes& tiff, std::size_t at) {
  const std::size_t size = NumberBytes(tiff.Number(at + 2, 2));
  const std::uint64_t count = tiff.Number(at + 4, 4);
  std::vector<std::uint32_t> numbers;
  if (size == 0) return numbers;
  std::uint64_t from = at + 8;  // small ones stand in the entry itself
  if (count * size > 4) from = tiff.Number(at + 8, 4);
  if (from + count * size > tiff.bytes.size()) return std::nullopt;
  numbers.reserve(count);
  for (std::uint64_t i = 0; i < count; ++i) numbers.push_back(tiff.Number(from + i * size, size));
  return numbers;
}

}  // namespace

Result<TiffDirectory> TiffDirectory::Read(std::string_view bytes) {
  if (bytes.size() < 8) return CutShort("TIFF");
  const TiffBytes tiff{bytes, bytes[0] == 'I'};
  const std::size_t start = tiff.Number(4, 4);
  if (start + 2 > bytes.size()) return CutShort("TIFF");
  const std::size_t count = tiff.Number(start, 2);
  if (start + 2 + count * kEntryBytes > bytes.size()) return CutShort("TIFF");
  TiffDirectory directory;
  for (std::size_t i = 0; i < count; ++i) {
    const std::size_t at = start + 2 + i * kEntryBytes;
    auto numbers = NumbersOf(tiff, at);
    const std::uint32_t tag = tiff.Number(at, 2);
    // Of the tags that describe the picture; what is wrong with others is not ours to judge.
    constexpr std::uint32_t kFirstPicture = 254;
    constexpr std::uint32_t kLastPicture = 339;
    const bool is_picture = tag >= kFirstPicture && tag <= kLastPicture;
    if (!numbers && is_picture) return CutShort("TIFF");
    if (numbers && is_picture) directory.numbers_.emplace(tag, std::move(*numbers));
  }
  return directory;
}

const std::vector<std::uint32_t>& TiffDirectory::All(std::uint32_t tag) const {
  static const std::vector<std::uint32_t> kNone;
  const auto found = numbers_.find(tag);
  return found == numbers_.end() ? kNone : found->second;
}

std::uint32_t TiffDirectory::First(std::uint32_t tag, std::uint32_t otherwise) const {
  const auto& numbers = All(tag);
  return numbers.empty() ? otherwise : numbers.front();
}

}  // namespace endgrade::read
