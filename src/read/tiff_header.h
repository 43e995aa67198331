// A TIFF's first page as its directory describes it, before any library sees the file.
#pragma once

#include "endgrade/read.h"
#include "endgrade/result.h"

#include <cstdint>
#include <string_view>

namespace endgrade::read {

struct TiffHeader {
  std::uint32_t width = 0;
  std::uint32_t height = 0;
  std::uint32_t bits = 1;         // a sample
  std::uint32_t samples = 1;      // a pixel
  std::uint32_t photometric = 0;  // 0 white is zero, 1 black is zero, 2 RGB, 3 palette
  bool has_straight_alpha = false;
};

// Reads the directory of the first page; the orientation is left to the decoder, which applies it.
//
//   bytes     that start with a TIFF signature, either byte order
//   errors    kTooLarge by options; kUnsupported for kinds that the decoder beneath us does not
//   read, or not rightly
//             (each was tried: floating point, planes of 16 bits, CMYK, grey with alpha, a reduced
//             copy as the first page), JPEG and fax codes, whose damage is only warned of; kCorrupt
//             for a directory or for strips or tiles that are not in the file, or too small for
//             their pixels
[[nodiscard]] Result<TiffHeader> ReadTiffHeader(std::string_view bytes, const ReadOptions& options);

}  // namespace endgrade::read
