// libpng's reader behind calls that return instead of jumping.
#pragma once

#include "endgrade/result.h"

#include <png.h>

#include <array>
#include <cstdint>
#include <string_view>
#include <vector>

namespace endgrade::read {

// After `false`, only problem() may be called.
class PngDecoder {
 public:
  // `bytes` must outlive the decoder. Throws std::bad_alloc.
  PngDecoder(std::string_view bytes, std::uint32_t width, std::uint32_t height);
  ~PngDecoder();
  PngDecoder(const PngDecoder&) = delete;
  PngDecoder& operator=(const PngDecoder&) = delete;

  // Up to the pixels. Afterwards channels() and bits() are those of the samples that come: 1 or 2
  // channels of grey, 3 or 4 of blue, green, red; 8 or 16 bits in the machine's byte order.
  [[nodiscard]] bool ReadHeader();

  // All rows, and on to the end of the file.
  [[nodiscard]] bool ReadRows(std::vector<std::uint8_t*>* rows);

  [[nodiscard]] int channels() const { return png_get_channels(png_, info_); }
  [[nodiscard]] int bits() const { return png_get_bit_depth(png_, info_); }

  // The eXIf chunk's bytes, wherever it stood; after ReadRows().
  [[nodiscard]] std::string_view exif() const;

  [[nodiscard]] Error problem() const;

 private:
  [[noreturn]] static void OnError(png_structp png, png_const_charp message);
  static void OnWarning(png_structp png, png_const_charp message);
  static void OnRead(png_structp png, png_bytep to, png_size_t count);

  std::string_view left_;
  png_structp png_ = nullptr;
  png_infop info_ = nullptr;
  bool is_cut_short_ = false;
  std::array<char, 128> message_{};
};

}  // namespace endgrade::read
