// What libtiff says of damaged data while OpenCV decodes, which OpenCV 4.6 drops at 8 bits: the
// rest of a damaged strip would be whatever was in memory.
#pragma once

namespace endgrade {

// Once per process. False where libtiff's errors do not reach us, as in an OpenCV with a libtiff of
// its own; tried on a damaged file, `try_damaged_file`, which is to decode it once a call.
[[nodiscard]] bool WatchTiffDamage(void (*try_damaged_file)());

// Between making one and asking it, in the same thread.
class TiffDamageWatch {
 public:
  TiffDamageWatch();
  ~TiffDamageWatch();
  TiffDamageWatch(const TiffDamageWatch&) = delete;
  TiffDamageWatch& operator=(const TiffDamageWatch&) = delete;

  [[nodiscard]] bool HasSeenDamage() const;
};

}  // namespace endgrade
