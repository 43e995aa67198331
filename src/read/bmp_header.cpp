#include "read/bmp_header.h"

#include "read/byte_order.h"
#include "read/errors.h"
#include "read/picture_size.h"

#include <cstdlib>
#include <optional>
#include <string>

namespace endgrade::read {
namespace {

constexpr std::size_t kFileHeaderBytes = 14;
constexpr std::uint32_t kInfoHeaderBytes = 40;

struct Fields {
  BmpHeader header;
  std::uint32_t header_bytes = 0;
  std::uint32_t compression = 0;  // 0 none, 1 and 2 run-length, 3 bit masks
  std::uint32_t num_colours = 0;  // 0: as many as the bits can name
  std::uint32_t pixels_at = 0;
};

std::optional<Fields> FieldsOf(std::string_view bytes) {
  constexpr std::size_t kSizeEnd = 18;
  if (bytes.size() < kSizeEnd) return std::nullopt;
  Fields fields;
  fields.pixels_at = LittleEndian32(bytes, 10);
  fields.header_bytes = LittleEndian32(bytes, 14);
  if (fields.header_bytes < kInfoHeaderBytes) return fields;
  if (bytes.size() < kFileHeaderBytes + kInfoHeaderBytes) return std::nullopt;
  // A negative height says that the top row comes first.
  fields.header = {static_cast<std::int32_t>(LittleEndian32(bytes, 18)),
                   std::abs(std::int64_t{static_cast<std::int32_t>(LittleEndian32(bytes, 22))}),
                   LittleEndian16(bytes, 28)};
  fields.compression = LittleEndian32(bytes, 30);
  fields.num_colours = LittleEndian32(bytes, 46);
  return fields;
}

std::optional<Error> KindProblem(const Fields& fields) {
  const std::uint32_t bits = fields.header.bits;
  // What the decoder beneath us makes of the oldest header is not what was stored, and its white of
  // 5 bits is 248.
  if (fields.header_bytes < kInfoHeaderBytes) {
    return Unsupported("a rare kind of BMP (a header of " + std::to_string(fields.header_bytes) +
                       " bytes)");
  }
  const bool is_plain =
      fields.compression == 0 && (bits == 1 || bits == 4 || bits == 8 || bits == 24 || bits == 32);
  const bool is_masked = fields.compression == 3 && bits == 32;
  if (is_plain || is_masked) return std::nullopt;
  return Unsupported("a rare kind of BMP (" + std::to_string(bits) + " bits, compression " +
                     std::to_string(fields.compression) + ")");
}

std::optional<Error> ExtentProblem(const Fields& fields, std::size_t num_bytes) {
  std::uint64_t least_start = kFileHeaderBytes + std::uint64_t{fields.header_bytes};
  if (fields.header.bits <= 8) {
    const std::uint64_t most = std::uint64_t{1} << fields.header.bits;
    if (fields.num_colours > most) return Damaged("the BMP header is damaged: too many colours");
    const std::uint64_t num_colours = fields.num_colours == 0 ? most : fields.num_colours;
    least_start += 4 * num_colours;
  }
  if (fields.pixels_at < least_start) {
    return Damaged("the BMP header is damaged: its pixels start inside it");
  }
  const auto width = static_cast<std::uint64_t>(fields.header.width);
  const std::uint64_t row_bytes = (width * fields.header.bits + 31) / 32 * 4;
  const auto height = static_cast<std::uint64_t>(fields.header.height);
  if (fields.pixels_at > num_bytes || row_bytes > (num_bytes - fields.pixels_at) / height) {
    return CutShort("BMP");
  }
  return std::nullopt;
}

}  // namespace

Result<BmpHeader> ReadBmpHeader(std::string_view bytes, const ReadOptions& options) {
  const auto fields = FieldsOf(bytes);
  if (!fields) return CutShort("BMP");
  if (auto problem = KindProblem(*fields)) return *problem;
  if (auto problem = SizeProblem(fields->header.width, fields->header.height, options)) {
    return *problem;
  }
  if (auto problem = ExtentProblem(*fields, bytes.size())) return *problem;
  return fields->header;
}

}  // namespace endgrade::read
