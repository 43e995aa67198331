#include "cli/results_file.h"

#include <cerrno>
#include <fcntl.h>
#include <sys/file.h>
#include <system_error>
#include <unistd.h>
#include <utility>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

Error WriteError(const fs::path& path, int error_number) {
  return {ErrorKind::kWriteFailed,
          path.string(),
          0,
          "cannot be written: " + std::generic_category().message(error_number),
          "Name a folder for --out that can be written and has room"};
}

// Makes the rename itself survive a power cut. Some file systems refuse; the file is there anyway.
void FlushFolder(const fs::path& folder) {
  const int descriptor = open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  (void)fsync(descriptor);
  close(descriptor);
}

}  // namespace

ResultsFile::ResultsFile(const fs::path& folder)
    : final_path_(folder / "results.ndjson"), partial_path_(folder / "results.ndjson.partial") {}

ResultsFile::ResultsFile(ResultsFile&& other) noexcept
    : final_path_(std::move(other.final_path_)),
      partial_path_(std::move(other.partial_path_)),
      descriptor_(std::exchange(other.descriptor_, -1)) {}

ResultsFile::~ResultsFile() {
  if (descriptor_ >= 0) close(descriptor_);
}

Result<ResultsFile> ResultsFile::Open(const fs::path& folder) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) return WriteError(folder, error.value());
  ResultsFile file(folder);
  file.descriptor_ =
      open(file.partial_path_.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
  if (file.descriptor_ < 0) return WriteError(file.partial_path_, errno);
  // File systems without locks say so with another error; they go without.
  if (flock(file.descriptor_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
    return Error{ErrorKind::kWriteFailed,
                 file.partial_path_.string(),
                 0,
                 "another run is writing its results here",
                 "Wait for it to end, or name another folder for --out"};
  }
  if (ftruncate(file.descriptor_, 0) != 0) return WriteError(file.partial_path_, errno);
  return file;
}

std::optional<Error> ResultsFile::AppendLine(std::string line) {
  line += '\n';
  std::size_t written = 0;
  while (written < line.size()) {
    const ssize_t n = write(descriptor_, line.data() + written, line.size() - written);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return WriteError(partial_path_, errno);
    written += static_cast<std::size_t>(n);
  }
  return std::nullopt;
}

std::optional<Error> ResultsFile::Finish() {
  if (fsync(descriptor_) != 0 && errno != EINVAL && errno != ENOTSUP) {
    return WriteError(partial_path_, errno);
  }
  if (rename(partial_path_.c_str(), final_path_.c_str()) != 0) {
    return WriteError(final_path_, errno);
  }
  close(std::exchange(descriptor_, -1));
  FlushFolder(final_path_.parent_path());
  return std::nullopt;
}

}  // namespace endgrade::cli
