// A BMP's header, before any library sees the file.
#pragma once

#include "endgrade/read.h"
#include "endgrade/result.h"

#include <cstdint>
#include <string_view>

namespace endgrade::read {

struct BmpHeader {
  std::int64_t width = 0;
  std::int64_t height = 0;  // of either row order
  std::uint32_t bits = 0;   // a pixel
};

// Errors: kTooLarge by options; kUnsupported for run-length-coded and embedded pictures; kCorrupt
// for pixels or a palette that are not in the file.
[[nodiscard]] Result<BmpHeader> ReadBmpHeader(std::string_view bytes, const ReadOptions& options);

}  // namespace endgrade::read
