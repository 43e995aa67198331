#include "endgrade/present.h"

#include <atomic>
#include <cerrno>
#include <cstdio>
#include <fcntl.h>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

namespace endgrade {
namespace fs = std::filesystem;
namespace {

std::string Remedy(int error_number) {
  switch (error_number) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
      return "Free some space, or name a folder that has room";
    case EACCES:
    case EPERM:
    case EROFS:
      return "Name a folder that you may write to";
    case ENOENT:
    case ENOTDIR:
      return "Name a folder that is there";
    case ENAMETOOLONG:
      return "Give it a shorter name";
    default:
      return "Name another file or folder";
  }
}

Error WriteError(const fs::path& path, int error_number) {
  return {ErrorKind::kWriteFailed,
          path.string(),
          0,
          "cannot be written: " + std::generic_category().message(error_number),
          Remedy(error_number)};
}

// A new file in the target's folder, which takes the target's name once it is whole and on the
// disk; it removes itself when that does not come about.
class PartialFile {
 public:
  // Sets errno and leaves is_open() false when there can be none.
  explicit PartialFile(const fs::path& target);
  PartialFile(const PartialFile&) = delete;
  PartialFile& operator=(const PartialFile&) = delete;
  ~PartialFile();

  [[nodiscard]] bool is_open() const { return descriptor_ >= 0; }
  // These return false and leave the reason in errno.
  [[nodiscard]] bool Write(const std::string& bytes) const;
  [[nodiscard]] bool FlushAndClose();
  [[nodiscard]] bool Rename(const fs::path& target);

 private:
  fs::path path_;
  int descriptor_ = -1;
  bool is_ours_ = false;
};

// The name is short, so that a target of the longest name that a folder takes can be written too.
PartialFile::PartialFile(const fs::path& target) {
  static std::atomic<unsigned> counter{0};
  constexpr int kAttempts = 1000;
  for (int attempt = 0; attempt < kAttempts; ++attempt) {
    path_ = target.parent_path() / (".endgrade-" + std::to_string(getpid()) + "-" +
                                    std::to_string(counter++) + ".partial");
    descriptor_ = open(path_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (descriptor_ >= 0 || errno != EEXIST) break;
  }
  is_ours_ = descriptor_ >= 0;
}

PartialFile::~PartialFile() {
  if (descriptor_ >= 0) close(descriptor_);
  if (is_ours_) unlink(path_.c_str());
}

bool PartialFile::Write(const std::string& bytes) const {
  std::size_t written = 0;
  while (written < bytes.size()) {
    const ssize_t n = write(descriptor_, bytes.data() + written, bytes.size() - written);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return false;
    written += static_cast<std::size_t>(n);
  }
  return true;
}

bool PartialFile::FlushAndClose() {
  // Some file systems cannot flush and say so; any other refusal is a lost write.
  const bool flushed = fsync(descriptor_) == 0 || errno == EINVAL || errno == ENOTSUP;
  const int flush_error = errno;
  const bool closed = close(descriptor_) == 0 || errno == EINTR;
  descriptor_ = -1;
  if (!flushed) errno = flush_error;
  return flushed && closed;
}

bool PartialFile::Rename(const fs::path& target) {
  if (rename(path_.c_str(), target.c_str()) != 0) return false;
  is_ours_ = false;
  return true;
}

// A rename would put a plain file in the place of a device, a pipe or a socket.
std::optional<Error> TargetProblem(const fs::path& target) {
  struct stat status {};
  if (target.filename().empty()) return WriteError(target, EISDIR);
  if (lstat(target.c_str(), &status) != 0) return std::nullopt;  // not there, or `open` will tell
  if (S_ISREG(status.st_mode) || S_ISLNK(status.st_mode)) return std::nullopt;
  if (S_ISDIR(status.st_mode)) return WriteError(target, EISDIR);
  return Error{ErrorKind::kWriteFailed,
               target.string(),
               0,
               "cannot be written: it is a device, a pipe or a socket",
               "Name a plain file"};
}

}  // namespace

std::optional<Error> WriteFileSafely(const fs::path& path, const std::string& bytes) {
  if (auto problem = TargetProblem(path)) return problem;
  PartialFile file(path);
  if (!file.is_open() || !file.Write(bytes) || !file.FlushAndClose() || !file.Rename(path)) {
    return WriteError(path, errno);
  }
  return std::nullopt;
}

}  // namespace endgrade
