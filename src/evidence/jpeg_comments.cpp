#include "evidence/jpeg_comments.h"

#include <jpeglib.h>

#include <csetjmp>
#include <cstdio>

namespace endgrade::evidence {
namespace {

struct Errors {
  jpeg_error_mgr manager{};
  std::jmp_buf on_error{};
};

[[noreturn]] void JumpOut(j_common_ptr jpeg) {
  std::longjmp(reinterpret_cast<Errors*>(jpeg->err)->on_error, 1);  // NOLINT(cert-err52-cpp)
}

void KeepQuiet(j_common_ptr, int) {}

// Holds nothing that a jump would leak.
bool ReadHeads(jpeg_decompress_struct* jpeg, Errors* errors, std::string_view bytes) {
  constexpr unsigned int kWhole = 0xffff;
  if (setjmp(errors->on_error) != 0) return false;  // NOLINT(cert-err52-cpp): libjpeg's way
  jpeg_mem_src(jpeg,
               reinterpret_cast<const unsigned char*>(bytes.data()),
               static_cast<unsigned long>(bytes.size()));
  jpeg_save_markers(jpeg, JPEG_COM, kWhole);
  return jpeg_read_header(jpeg, TRUE) == JPEG_HEADER_OK;
}

}  // namespace

std::optional<std::vector<std::string>> JpegComments(std::string_view bytes) {
  Errors errors;
  jpeg_decompress_struct jpeg{};
  jpeg.err = jpeg_std_error(&errors.manager);
  errors.manager.error_exit = &JumpOut;
  errors.manager.emit_message = &KeepQuiet;
  jpeg_create_decompress(&jpeg);
  std::optional<std::vector<std::string>> comments;
  if (ReadHeads(&jpeg, &errors, bytes)) {
    comments.emplace();
    for (const jpeg_marker_struct* marker = jpeg.marker_list; marker; marker = marker->next) {
      if (marker->marker != JPEG_COM) continue;
      comments->emplace_back(reinterpret_cast<const char*>(marker->data), marker->data_length);
    }
  }
  jpeg_destroy_decompress(&jpeg);
  return comments;
}

}  // namespace endgrade::evidence
