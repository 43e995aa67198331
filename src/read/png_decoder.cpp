#include "read/png_decoder.h"

#include "read/errors.h"

#include <algorithm>
#include <bit>
#include <csetjmp>
#include <cstring>
#include <new>
#include <string>

// Every function that calls setjmp has trivial locals only, none changed after it: a jump runs no
// destructor, and what it finds in a changed local is undefined.
namespace endgrade::read {
namespace {

// For chunks beside the picture: palettes and EXIF data are far smaller.
constexpr png_alloc_size_t kMostChunkBytes = 1 << 20;

// Chunks that change no sample as we read it, colour profiles and gamma above all (common practice
// for grading: the camera's own values). Their checksums are held all the same.
constexpr png_byte kUnread[] =
    "bKGD\0cHRM\0gAMA\0hIST\0iCCP\0iTXt\0oFFs\0pCAL\0pHYs\0sBIT\0sCAL\0sPLT\0sTER\0sRGB\0"
    "tEXt\0tIME\0zTXt";
constexpr int kChunkNameBytes = 5;

}  // namespace

PngDecoder::PngDecoder(std::string_view bytes, std::uint32_t width, std::uint32_t height)
    : left_(bytes) {
  png_ = png_create_read_struct(PNG_LIBPNG_VER_STRING, this, OnError, OnWarning);
  if (png_ != nullptr) info_ = png_create_info_struct(png_);
  if (info_ == nullptr) {
    png_destroy_read_struct(&png_, nullptr, nullptr);
    throw std::bad_alloc();
  }
  png_set_read_fn(png_, this, OnRead);
  png_set_user_limits(png_, width, height);
  png_set_chunk_malloc_max(png_, kMostChunkBytes);
  png_set_crc_action(png_, PNG_CRC_ERROR_QUIT, PNG_CRC_ERROR_QUIT);
}

PngDecoder::~PngDecoder() { png_destroy_read_struct(&png_, &info_, nullptr); }

void PngDecoder::OnError(png_structp png, png_const_charp message) {
  auto* decoder = static_cast<PngDecoder*>(png_get_error_ptr(png));
  std::strncpy(decoder->message_.data(), message, decoder->message_.size() - 1);
  png_longjmp(png, 1);
}

// What libpng only warns of is mended within chunks that we do not read.
void PngDecoder::OnWarning(png_structp, png_const_charp) {}

void PngDecoder::OnRead(png_structp png, png_bytep to, png_size_t count) {
  auto* decoder = static_cast<PngDecoder*>(png_get_io_ptr(png));
  if (count > decoder->left_.size()) {
    decoder->is_cut_short_ = true;
    png_error(png, "unexpected end");
  }
  std::memcpy(to, decoder->left_.data(), count);
  decoder->left_.remove_prefix(count);
}

bool PngDecoder::ReadHeader() {
  if (setjmp(png_jmpbuf(png_)) != 0) return false;
  // Here, as it wants memory, and libpng ends the program for an error without a place to jump to.
  png_set_keep_unknown_chunks(
      png_, PNG_HANDLE_CHUNK_NEVER, kUnread, static_cast<int>(sizeof(kUnread)) / kChunkNameBytes);
  png_read_info(png_, info_);
  png_set_expand(png_);  // palettes to colour, 1, 2 and 4 bits to 8, a transparent colour to alpha
  png_set_bgr(png_);
  if constexpr (std::endian::native == std::endian::little) png_set_swap(png_);
  png_set_interlace_handling(png_);
  png_read_update_info(png_, info_);
  return true;
}

bool PngDecoder::ReadRows(std::vector<std::uint8_t*>* rows) {
  if (setjmp(png_jmpbuf(png_)) != 0) return false;
  png_read_image(png_, rows->data());
  png_read_end(png_, info_);
  return true;
}

std::string_view PngDecoder::exif() const {
  png_uint_32 count = 0;
  png_bytep bytes = nullptr;
  if (png_get_eXIf_1(png_, info_, &count, &bytes) == 0 || bytes == nullptr) return {};
  return {reinterpret_cast<const char*>(bytes), count};
}

Error PngDecoder::problem() const {
  const std::string_view message = message_.data();
  if (is_cut_short_) return CutShort("PNG");
  // libpng's words and zlib's.
  if (message.find("ut of memory") != std::string_view::npos ||
      message.find("nsufficient memory") != std::string_view::npos) {
    throw std::bad_alloc();
  }
  return Damaged("the PNG data is damaged (" + std::string(message) + ")");
}

}  // namespace endgrade::read
