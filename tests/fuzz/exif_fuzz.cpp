// EXIF data of any bytes, as a JPEG's segment, a PNG's chunk and a photograph's time have it.
#include "lot/taken_at.h"
#include "read/exif.h"

#include <cstdlib>
#include <string>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(bytes), size);
  const std::string exif = std::string(endgrade::read::ExifHeader()) + std::string(text);
  const int orientation = endgrade::read::ExifOrientation(exif);
  if (orientation < 1 || orientation > 8) std::abort();
  // The same bytes behind a JPEG's first markers.
  const std::size_t length = exif.size() + 2;
  if (length > 0xffff) return 0;
  const std::string jpeg = std::string("\xff\xd8\xff\xe1", 4) + static_cast<char>(length >> 8) +
                           static_cast<char>(length & 0xff) + exif + std::string("\xff\xd9", 2);
  const auto taken = endgrade::lot::WhenTaken(jpeg, 0);
  if (taken.text.size() != 19 || (taken.from != "exif" && taken.from != "file")) std::abort();
  return 0;
}
