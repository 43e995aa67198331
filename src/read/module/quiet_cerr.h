// OpenCV tells std::cerr about files that it cannot decode; our caller gets one clear line instead.
#pragma once

namespace endgrade {

// While it lives, what this thread writes to std::cerr is dropped; other threads write on.
class QuietCerr {
 public:
  QuietCerr();
  ~QuietCerr();
  QuietCerr(const QuietCerr&) = delete;
  QuietCerr& operator=(const QuietCerr&) = delete;
};

}  // namespace endgrade
