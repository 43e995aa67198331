#include "read/file_bytes.h"

#include "read/errors.h"

#include <algorithm>
#include <cerrno>
#include <fcntl.h>
#include <optional>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

namespace endgrade::read {
namespace {

class OpenFile {
 public:
  // Not blocking: should the name become a pipe between the look and the opening, open() returns.
  explicit OpenFile(const std::string& path)
      : descriptor_(open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY)) {}
  ~OpenFile() {
    if (descriptor_ >= 0) close(descriptor_);
  }
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;

  [[nodiscard]] int descriptor() const { return descriptor_; }

 private:
  int descriptor_;
};

Error SystemError(int code) {
  const std::string why = std::generic_category().message(code);
  if (code == ENOENT || code == ENOTDIR || code == ENAMETOOLONG) {
    return {ErrorKind::kNotFound, "", 0, "there is no such file", "Check the name and the folder"};
  }
  if (code == EACCES || code == EPERM) {
    return {ErrorKind::kUnreadable,
            "",
            0,
            "the file may not be read: " + why,
            "Give yourself permission to read it and the folders it is in"};
  }
  return {ErrorKind::kUnreadable,
          "",
          0,
          "the file cannot be read: " + why,
          "Check the disk or the card it is on, or copy it elsewhere first"};
}

std::optional<Error> KindProblem(mode_t mode) {
  if (S_ISREG(mode)) return std::nullopt;
  const char* kind = S_ISDIR(mode)                    ? "a folder"
                     : S_ISFIFO(mode)                 ? "a pipe"
                     : S_ISSOCK(mode)                 ? "a socket"
                     : S_ISBLK(mode) || S_ISCHR(mode) ? "a device"
                                                      : "not a file";
  return Error{ErrorKind::kUnreadable,
               "",
               0,
               "this is " + std::string(kind) + ", not a picture file",
               "Save the picture to a file and give that"};
}

Error TooManyBytes(std::int64_t max_bytes) {
  return {ErrorKind::kTooLarge,
          "",
          0,
          "the file has more than " + std::to_string(max_bytes) + " bytes",
          "Export it as JPEG or PNG, or raise the limit on file size"};
}

// Reads on to the end, one byte past the limit at most; the size that fstat() gave is a first
// guess only, as the file may be growing.
Result<std::string> ReadToEnd(int descriptor, std::int64_t first_guess, std::int64_t max_bytes) {
  constexpr std::int64_t kLeastRoom = 4096;
  std::string bytes;
  std::int64_t used = 0;
  while (true) {
    if (used == static_cast<std::int64_t>(bytes.size())) {
      const std::int64_t wanted = used == 0 ? first_guess + 1 : 2 * used;
      bytes.resize(static_cast<std::size_t>(std::min(std::max(wanted, kLeastRoom), max_bytes + 1)));
    }
    const auto at = static_cast<std::size_t>(used);
    const ssize_t count = ::read(descriptor, bytes.data() + at, bytes.size() - at);
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) return SystemError(errno);
    if (count == 0) break;
    used += count;
    if (used > max_bytes) return TooManyBytes(max_bytes);
  }
  bytes.resize(static_cast<std::size_t>(used));
  return bytes;
}

}  // namespace

Result<std::string> ReadFileBytes(const std::filesystem::path& path, std::int64_t max_bytes) {
  const std::string& name = path.native();
  // The system would take the name up to the zero, and read another file.
  if (name.empty() || name.find('\0') != std::string::npos) return SystemError(ENOENT);
  struct stat status {};
  if (stat(name.c_str(), &status) != 0) return SystemError(errno);
  // Looked at before it is opened: opening a device can have effects.
  if (auto problem = KindProblem(status.st_mode)) return *problem;
  const OpenFile file(name);
  if (file.descriptor() < 0) return SystemError(errno);
  if (fstat(file.descriptor(), &status) != 0) return SystemError(errno);
  if (auto problem = KindProblem(status.st_mode)) return *problem;
  if (status.st_size > max_bytes) return TooManyBytes(max_bytes);
  auto bytes = ReadToEnd(file.descriptor(), status.st_size, max_bytes);
  if (bytes.ok() && bytes->empty()) return Damaged("the file is empty");
  return bytes;
}

Result<std::string> ReadNamedFileBytes(const std::filesystem::path& path, std::int64_t max_bytes) {
  auto bytes = ReadFileBytes(path, max_bytes);
  if (bytes.ok()) return bytes;
  Error error = bytes.error();
  error.file = path.string();
  return error;
}

}  // namespace endgrade::read
