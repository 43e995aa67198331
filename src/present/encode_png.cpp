#include "present/encode.h"

#include <png.h>

#include <csetjmp>
#include <libdeflate.h>
#include <memory>
#include <vector>

namespace endgrade {
namespace {

constexpr png_byte kFilterUp = 2;  // PNG specification, 9.2: difference from the row above
constexpr int kQuickest = 1;

// The picture's samples in the order and byte order of a PNG file: red first, high byte first.
void CopyRow(const cv::Mat& picture, int y, std::uint8_t* to) {
  const std::uint8_t* from = picture.ptr(y);
  const auto width = static_cast<std::size_t>(picture.cols);
  if (picture.type() == CV_8UC3) {
    for (std::size_t x = 0; x < width; ++x) {
      to[3 * x] = from[3 * x + 2];
      to[3 * x + 1] = from[3 * x + 1];
      to[3 * x + 2] = from[3 * x];
    }
  } else if (picture.type() == CV_16UC1) {
    const auto* samples = picture.ptr<std::uint16_t>(y);
    for (std::size_t x = 0; x < width; ++x) {
      to[2 * x] = static_cast<std::uint8_t>(samples[x] >> 8);
      to[2 * x + 1] = static_cast<std::uint8_t>(samples[x] & 255);
    }
  } else {
    std::copy(from, from + width, to);
  }
}

// Bytes that are written before they are read: no time is spent on zeros.
struct Bytes {
  std::unique_ptr<std::uint8_t[]> data;
  std::size_t size = 0;
};

Bytes Room(std::size_t size) {
  return {std::make_unique_for_overwrite<std::uint8_t[]>(size), size};
}

// Every row as its filter's number and its bytes less those of the row above.
Bytes FilteredRows(const cv::Mat& picture) {
  const std::size_t row_bytes = static_cast<std::size_t>(picture.cols) * picture.elemSize();
  const auto rows = static_cast<std::size_t>(picture.rows);
  Bytes filtered = Room(rows * (row_bytes + 1));
  std::vector<std::uint8_t> above(row_bytes, 0);
  std::vector<std::uint8_t> row(row_bytes);
  for (std::size_t y = 0; y < rows; ++y) {
    CopyRow(picture, static_cast<int>(y), row.data());
    std::uint8_t* out = filtered.data.get() + y * (row_bytes + 1);
    *out++ = kFilterUp;
    for (std::size_t i = 0; i < row_bytes; ++i) {
      out[i] = static_cast<std::uint8_t>(row[i] - above[i]);
    }
    std::swap(above, row);
  }
  return filtered;
}

Bytes Packed(const Bytes& bytes) {
  const std::unique_ptr<libdeflate_compressor, decltype(&libdeflate_free_compressor)> packer(
      libdeflate_alloc_compressor(kQuickest), &libdeflate_free_compressor);
  if (!packer) throw std::bad_alloc();
  Bytes packed = Room(libdeflate_zlib_compress_bound(packer.get(), bytes.size));
  packed.size = libdeflate_zlib_compress(
      packer.get(), bytes.data.get(), bytes.size, packed.data.get(), packed.size);
  return packed;
}

void AppendBytes(png_structp png, png_bytep bytes, png_size_t count) {
  auto* out = static_cast<std::string*>(png_get_io_ptr(png));
  out->append(reinterpret_cast<const char*>(bytes), count);
}

void IgnoreWarning(png_structp, png_const_charp) {}

// Packed, and before the pixels, so that it is found without reading those.
void SetText(png_structp png, png_infop info, const std::string& evidence) {
  if (evidence.empty()) return;
  png_text text{};
  text.compression = PNG_ITXT_COMPRESSION_zTXt;
  text.key = const_cast<png_charp>(kEvidenceWord);
  text.text = const_cast<png_charp>(evidence.c_str());
  text.itxt_length = evidence.size();
  png_set_text(png, info, &text, 1);
}

// Chunks through libpng. Holds nothing that a longjmp would leak.
bool WriteChunks(const cv::Mat& picture,
                 const Bytes& packed,
                 const std::string& evidence,
                 std::string* out) {
  png_structp png =
      png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, &IgnoreWarning);
  png_infop info = png ? png_create_info_struct(png) : nullptr;
  if (!info || setjmp(png_jmpbuf(png))) {  // NOLINT(cert-err52-cpp): libpng's way to report
    png_destroy_write_struct(&png, &info);
    return false;
  }
  png_set_write_fn(png, out, &AppendBytes, nullptr);
  png_set_IHDR(png,
               info,
               static_cast<png_uint_32>(picture.cols),
               static_cast<png_uint_32>(picture.rows),
               picture.depth() == CV_16U ? 16 : 8,
               picture.channels() == 3 ? PNG_COLOR_TYPE_RGB : PNG_COLOR_TYPE_GRAY,
               PNG_INTERLACE_NONE,
               PNG_COMPRESSION_TYPE_DEFAULT,
               PNG_FILTER_TYPE_DEFAULT);
  SetText(png, info, evidence);
  png_write_info(png, info);
  constexpr std::size_t kMostChunkBytes = 1u << 30;  // a chunk holds less than 2^31
  for (std::size_t done = 0; done < packed.size; done += kMostChunkBytes) {
    png_write_chunk(png,
                    reinterpret_cast<png_const_bytep>("IDAT"),
                    packed.data.get() + done,
                    std::min(kMostChunkBytes, packed.size - done));
  }
  png_write_chunk(png, reinterpret_cast<png_const_bytep>("IEND"), nullptr, 0);
  png_destroy_write_struct(&png, &info);
  return true;
}

}  // namespace

Result<std::string> EncodePng(const cv::Mat& picture, const std::string& evidence) {
  const int type = picture.type();
  if (picture.empty() || (type != CV_8UC1 && type != CV_16UC1 && type != CV_8UC3)) {
    return Error{ErrorKind::kUnsupported, "", 0, "this kind of picture is not written as PNG", ""};
  }
  const Bytes packed = Packed(FilteredRows(picture));
  std::string out;
  constexpr std::size_t kRoomForChunkHeads = 4096;
  out.reserve(packed.size + kRoomForChunkHeads);
  if (!WriteChunks(picture, packed, evidence, &out)) {
    return Error{ErrorKind::kInternal, "", 0, "libpng refused to write this picture", ""};
  }
  return out;
}

}  // namespace endgrade
