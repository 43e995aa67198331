// libjpeg's decompressor behind calls that return instead of jumping.
#pragma once

#include "endgrade/result.h"

// jpeglib.h needs size_t and FILE of the one before it.
#include <cstdio>
//
#include <jpeglib.h>

#include <csetjmp>
#include <cstdint>
#include <optional>
#include <string_view>

namespace endgrade::read {

// Any error and any warning about the data ends it: a picture that libjpeg had to mend has parts
// that were never photographed. After `false`, only problem() may be called.
class JpegDecoder {
 public:
  // `bytes` must outlive the decoder.
  explicit JpegDecoder(std::string_view bytes);
  ~JpegDecoder();
  JpegDecoder(const JpegDecoder&) = delete;
  JpegDecoder& operator=(const JpegDecoder&) = delete;

  // Up to the first scan; keeps APP1 segments.
  [[nodiscard]] bool ReadHeader();

  // Takes the memory and, of a progressive picture, reads all scans.
  [[nodiscard]] bool Start(J_COLOR_SPACE out);

  // The next `count` rows, `step` bytes apart.
  [[nodiscard]] bool ReadRows(std::uint8_t* first, std::size_t step, int count);

  // To the end of the picture.
  [[nodiscard]] bool Finish();

  [[nodiscard]] Error problem() const;
  [[nodiscard]] const jpeg_decompress_struct& state() const { return jpeg_; }

 private:
  static void OnError(j_common_ptr jpeg);
  static void OnMessage(j_common_ptr jpeg, int level);
  static void OnProgress(j_common_ptr jpeg);

  std::string_view bytes_;
  jpeg_decompress_struct jpeg_{};
  jpeg_error_mgr errors_{};
  jpeg_progress_mgr progress_{};
  std::jmp_buf jump_{};
  bool has_too_many_scans_ = false;
};

}  // namespace endgrade::read
