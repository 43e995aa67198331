#include "read/module/tiff_damage.h"

#include <cstdarg>

// Of tiffio.h, whose Debian package brings more than this one function is worth.
extern "C" {
using TIFFErrorHandler = void (*)(const char* module, const char* format, va_list arguments);
TIFFErrorHandler TIFFSetErrorHandler(TIFFErrorHandler handler);
}

namespace endgrade {
namespace {

thread_local bool is_watching = false;
thread_local bool has_seen_damage = false;
TIFFErrorHandler handler_before = nullptr;

void OnTiffError(const char* module, const char* format, va_list arguments) {
  if (is_watching) {
    has_seen_damage = true;
  } else if (handler_before != nullptr) {
    handler_before(module, format, arguments);
  }
}

bool SeesDamage(void (*try_damaged_file)()) {
  try_damaged_file();  // OpenCV sets a handler of its own when it meets its first TIFF
  handler_before = TIFFSetErrorHandler(OnTiffError);
  const TiffDamageWatch watch;
  try_damaged_file();
  return watch.HasSeenDamage();
}

}  // namespace

bool WatchTiffDamage(void (*try_damaged_file)()) {
  static const bool kSees = SeesDamage(try_damaged_file);
  return kSees;
}

TiffDamageWatch::TiffDamageWatch() {
  is_watching = true;
  has_seen_damage = false;
}

TiffDamageWatch::~TiffDamageWatch() { is_watching = false; }

bool TiffDamageWatch::HasSeenDamage() const { return has_seen_damage; }

}  // namespace endgrade
