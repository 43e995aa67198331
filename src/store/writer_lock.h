// One writer at a time.
#pragma once

#include "endgrade/result.h"

#include <filesystem>

namespace endgrade::store {

// Held by the process that appends, through a file beside the store; let go when it ends, however
// it ends. A file system without locks goes without.
class WriterLock {
 public:
  // Errors: kWriteFailed, also when another process has it.
  [[nodiscard]] static Result<WriterLock> Take(const std::filesystem::path& store);

  WriterLock(WriterLock&& other) noexcept;
  WriterLock& operator=(WriterLock&&) = delete;
  ~WriterLock();

 private:
  explicit WriterLock(int descriptor) : descriptor_(descriptor) {}
  int descriptor_;
};

}  // namespace endgrade::store
