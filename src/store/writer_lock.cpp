#include "store/writer_lock.h"

#include <cerrno>
#include <fcntl.h>
#include <sys/file.h>
#include <system_error>
#include <unistd.h>
#include <utility>

namespace endgrade::store {

Result<WriterLock> WriterLock::Take(const std::filesystem::path& store) {
  const std::string name = store.string() + ".lock";
  const int descriptor = open(name.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
  if (descriptor < 0) {
    return Error{ErrorKind::kWriteFailed,
                 store.string(),
                 0,
                 "cannot be written: " + std::generic_category().message(errno),
                 "Use a folder that can be written and has room"};
  }
  WriterLock lock(descriptor);
  if (flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
    return Error{ErrorKind::kWriteFailed,
                 store.string(),
                 0,
                 "another run is writing to this store",
                 "Wait for it to end"};
  }
  return lock;
}

WriterLock::WriterLock(WriterLock&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)) {}

WriterLock::~WriterLock() {
  if (descriptor_ >= 0) close(descriptor_);
}

}  // namespace endgrade::store
