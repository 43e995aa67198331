#include "evidence/png_text.h"

#include <png.h>

#include <csetjmp>
#include <cstring>

namespace endgrade::evidence {
namespace {

// A record with thousands of outlines takes a few MB.
constexpr png_alloc_size_t kMostTextBytes = 64u << 20;

void Read(png_structp png, png_bytep to, png_size_t count) {
  auto* left = static_cast<std::string_view*>(png_get_io_ptr(png));
  if (count > left->size()) png_error(png, "unexpected end");
  std::memcpy(to, left->data(), count);
  left->remove_prefix(count);
}

void IgnoreWarning(png_structp, png_const_charp) {}
[[noreturn]] void JumpOut(png_structp png, png_const_charp) { png_longjmp(png, 1); }

// Holds nothing that a jump would leak.
bool ReadHeads(png_structp png, png_infop info, std::string_view* left) {
  if (setjmp(png_jmpbuf(png)) != 0) return false;  // NOLINT(cert-err52-cpp): libpng's way
  png_set_read_fn(png, left, &Read);
  png_set_chunk_malloc_max(png, kMostTextBytes);
  png_set_crc_action(png, PNG_CRC_ERROR_QUIT, PNG_CRC_ERROR_QUIT);
  png_read_info(png, info);
  return true;
}

}  // namespace

std::optional<std::string> PngText(std::string_view bytes, const std::string& word) {
  png_structp png =
      png_create_read_struct(PNG_LIBPNG_VER_STRING, nullptr, &JumpOut, &IgnoreWarning);
  png_infop info = png ? png_create_info_struct(png) : nullptr;
  std::string_view left = bytes;
  std::optional<std::string> found;
  if (info && ReadHeads(png, info, &left)) {
    found = "";
    png_textp texts = nullptr;
    const int count = png_get_text(png, info, &texts, nullptr);
    for (int i = 0; i < count; ++i) {
      if (word != texts[i].key) continue;
      const bool is_utf8 = texts[i].compression >= PNG_ITXT_COMPRESSION_NONE;
      found = std::string(texts[i].text, is_utf8 ? texts[i].itxt_length : texts[i].text_length);
      break;
    }
  }
  if (png) png_destroy_read_struct(&png, info ? &info : nullptr, nullptr);
  return found;
}

}  // namespace endgrade::evidence
