#include "read/png.h"

#include "read/byte_order.h"
#include "read/errors.h"
#include "read/exif.h"
#include "read/picture_size.h"
#include "read/pixels.h"
#include "read/png_decoder.h"

#include <cstdint>
#include <string>
#include <vector>

namespace endgrade::read {
namespace {

// The header chunk stands first and always the same way: signature, length 13, name, fields.
struct Header {
  std::uint32_t width, height;
  int bits, colour_type;
};

constexpr std::size_t kHeaderEnd = 33;

Header HeaderOf(std::string_view bytes) {
  return {BigEndian32(bytes, 16),
          BigEndian32(bytes, 20),
          static_cast<unsigned char>(bytes[24]),
          static_cast<unsigned char>(bytes[25])};
}

// Deflate makes at most 1032 bytes of one (two bits for 258): a shorter file cannot hold what its
// header promises, and no memory is taken for it.
bool IsTooShort(const Header& header, std::size_t num_bytes) {
  constexpr std::uint64_t kMostInflation = 1032;
  const bool is_palette_or_grey = header.colour_type == 0 || header.colour_type == 3;
  const std::uint64_t channels = is_palette_or_grey        ? 1
                                 : header.colour_type == 4 ? 2
                                 : header.colour_type == 2 ? 3
                                                           : 4;
  const std::uint64_t row_bits =
      std::uint64_t{header.width} * channels * static_cast<std::uint64_t>(header.bits);
  return num_bytes * kMostInflation < header.height * (row_bits / 8);
}

}  // namespace

Result<Frame> DecodePng(std::string_view bytes, const ReadOptions& options) {
  if (bytes.size() < kHeaderEnd) return CutShort("PNG");
  if (bytes.substr(12, 4) != "IHDR") return Damaged("the PNG data is damaged (no header)");
  const Header header = HeaderOf(bytes);
  if (auto problem = SizeProblem(header.width, header.height, options)) return *problem;
  if (IsTooShort(header, bytes.size())) return CutShort("PNG");

  PngDecoder decoder(bytes, header.width, header.height);
  if (!decoder.ReadHeader()) return decoder.problem();
  cv::Mat samples(static_cast<int>(header.height),
                  static_cast<int>(header.width),
                  CV_MAKETYPE(decoder.bits() == 16 ? CV_16U : CV_8U, decoder.channels()));
  std::vector<std::uint8_t*> rows(header.height);
  for (int y = 0; y < samples.rows; ++y) rows[static_cast<std::size_t>(y)] = samples.ptr(y);
  if (!decoder.ReadRows(&rows)) return decoder.problem();

  Frame frame = FrameFromSamples(samples, options.colour);
  const std::string exif = std::string(ExifHeader()) + std::string(decoder.exif());
  TurnUpright(ExifOrientation(exif), &frame);
  return frame;
}

}  // namespace endgrade::read
