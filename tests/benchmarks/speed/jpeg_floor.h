// The least that opening a photograph costs: libjpeg-turbo, file bytes to colour pixels.
#pragma once

#include <string>

namespace endgrade::bench {

// Decodes a whole JPEG file in memory, colour to blue, green, red and grey to grey, with libjpeg's
// default settings, into memory that is kept between calls. Returns the number of bytes of pixels;
// 0 if it cannot be decoded.
[[nodiscard]] std::size_t DecodeJpegFloor(const std::string& bytes);

}  // namespace endgrade::bench
