#include "render/encode.h"

#include <png.h>

#include <csetjmp>

namespace endgrade::render {
namespace {

// Fast and within a few per cent of the densest for noisy pictures.
constexpr int kCompressionLevel = 3;

void Append(png_structp png, png_bytep bytes, png_size_t count) {
  static_cast<std::string*>(png_get_io_ptr(png))->append(reinterpret_cast<char*>(bytes), count);
}

void KeepMessage(png_structp png, png_const_charp message) {
  *static_cast<std::string*>(png_get_error_ptr(png)) = message;
  longjmp(png_jmpbuf(png), 1);
}

// No object with a destructor lives here: longjmp passes over them.
bool WriteRows(png_structp png, png_infop header, const cv::Mat& picture) {
  if (setjmp(png_jmpbuf(png)) != 0) return false;
  const bool grey = picture.channels() == 1;
  png_set_IHDR(png,
               header,
               static_cast<png_uint_32>(picture.cols),
               static_cast<png_uint_32>(picture.rows),
               8,
               grey ? PNG_COLOR_TYPE_GRAY : PNG_COLOR_TYPE_RGB,
               PNG_INTERLACE_NONE,
               PNG_COMPRESSION_TYPE_DEFAULT,
               PNG_FILTER_TYPE_DEFAULT);
  png_set_compression_level(png, kCompressionLevel);
  png_set_filter(png, 0, PNG_FILTER_SUB);
  png_write_info(png, header);
  if (!grey) png_set_bgr(png);
  for (int y = 0; y < picture.rows; ++y) png_write_row(png, picture.ptr<png_byte>(y));
  png_write_end(png, header);
  return true;
}

}  // namespace

Result<std::string> EncodePng(const cv::Mat& picture) {
  std::string bytes;
  std::string message = "out of memory";
  png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, &message, KeepMessage, nullptr);
  png_infop header = png != nullptr ? png_create_info_struct(png) : nullptr;
  bool written = false;
  if (header != nullptr) {
    png_set_write_fn(png, &bytes, Append, nullptr);
    written = WriteRows(png, header, picture);
  }
  png_destroy_write_struct(&png, &header);
  if (!written) return Error{ErrorKind::kInternal, "", 0, "PNG could not be made: " + message, ""};
  return bytes;
}

}  // namespace endgrade::render
