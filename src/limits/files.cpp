#include "limits/files.h"

#include "core/read_all.h"
#include "endgrade/limits.h"

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <system_error>

namespace endgrade {
namespace fs = std::filesystem;
namespace {

// A table of the standard is 5 kB; a picture given by mistake is more.
constexpr std::uintmax_t kMostBytes = 1 << 20;

bool IsFolder(const fs::path& path) {
  std::error_code ignored;
  return fs::is_directory(path, ignored);
}

// <prefix>/share/endgrade/zones of a program at <prefix>/bin, wherever the prefix was moved to.
std::optional<fs::path> FolderBesideProgram() {
  std::error_code error;
  const fs::path program = fs::read_symlink("/proc/self/exe", error);
  if (error) return std::nullopt;
  const fs::path folder = (program.parent_path() / ENDGRADE_ZONES_FROM_BIN).lexically_normal();
  return IsFolder(folder) ? std::optional(folder) : std::nullopt;
}

}  // namespace

fs::path LimitsFolder() {
  const char* chosen = std::getenv("ENDGRADE_ZONES");
  if (chosen && *chosen) return chosen;
  if (const auto folder = FolderBesideProgram()) return *folder;
  if (IsFolder(ENDGRADE_SOURCE_ZONES)) return ENDGRADE_SOURCE_ZONES;
  return ENDGRADE_INSTALLED_ZONES;
}

std::vector<fs::path> LimitsFilesUnder(const fs::path& folder) {
  std::vector<fs::path> files;
  std::error_code error;
  fs::recursive_directory_iterator it(folder, fs::directory_options::skip_permission_denied, error);
  for (const fs::recursive_directory_iterator end; !error && it != end; it.increment(error)) {
    std::error_code ignored;
    if (it->path().extension() == ".toml" && it->path().filename() != kAdviceFile &&
        it->is_regular_file(ignored)) {
      files.push_back(it->path());
    }
  }
  std::sort(files.begin(), files.end());
  return files;
}

std::vector<fs::path> LimitsFilesOf(const fs::path& folder, const std::string& id) {
  std::vector<fs::path> files = LimitsFilesUnder(folder);
  std::erase_if(files, [&id](const fs::path& file) { return file.stem() != id; });
  return files;
}

bool LooksLikePath(const std::string& id_or_file) {
  return id_or_file.find('/') != std::string::npos || id_or_file.ends_with(".toml");
}

std::optional<fs::path> FindParent(const std::string& extends, const fs::path& file) {
  std::error_code ignored;
  const fs::path folder = file.parent_path();
  const fs::path beside = folder / (LooksLikePath(extends) ? extends : extends + ".toml");
  if (fs::is_regular_file(beside, ignored)) return beside;
  if (LooksLikePath(extends)) return std::nullopt;
  const auto shipped = LimitsFilesOf(LimitsFolder(), extends);
  return shipped.empty() ? std::nullopt : std::optional(shipped.front());
}

Result<std::string> ReadBytes(const fs::path& file) {
  std::error_code error;
  const fs::file_status status = fs::status(file, error);
  if (!fs::exists(status)) {
    return Error{ErrorKind::kNotFound,
                 file.string(),
                 0,
                 "no such file",
                 "Check the path, or run `endgrade limits list` for the limits there are"};
  }
  if (!fs::is_regular_file(status)) {
    return Error{ErrorKind::kUnreadable,
                 file.string(),
                 0,
                 "not a file",
                 "Give the path of a limits file, as in zones/house/house-example.toml"};
  }
  if (fs::file_size(file, error) > kMostBytes && !error) {
    return Error{ErrorKind::kTooLarge,
                 file.string(),
                 0,
                 "more than 1 MiB, too large for limits",
                 "Give the path of a limits file, a few kB of TOML"};
  }
  std::ifstream stream(file, std::ios::binary);
  auto bytes = ReadAll(stream);
  if (!bytes) {
    return Error{ErrorKind::kUnreadable,
                 file.string(),
                 0,
                 "the file cannot be read",
                 "Check its permissions"};
  }
  return *std::move(bytes);
}

}  // namespace endgrade
