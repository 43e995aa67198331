// Which way up a picture is, from its EXIF data.
#pragma once

#include <string_view>

namespace endgrade::read {

// EXIF's orientation (tag 0x0112), 1 to 8; 1, upright, where it is missing or makes no sense.
//
//   exif      as in a JPEG's APP1 segment: "Exif", two zeros, then the TIFF structure
[[nodiscard]] int ExifOrientation(std::string_view exif);

// What a JPEG's APP1 segment and our argument start with.
[[nodiscard]] std::string_view ExifHeader();

}  // namespace endgrade::read
