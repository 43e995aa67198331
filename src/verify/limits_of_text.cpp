#include "verify/limits_of_text.h"

#include "endgrade/present.h"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <system_error>

namespace endgrade::verify {
namespace fs = std::filesystem;
namespace {

class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::error_code error;
    std::string name = (fs::temp_directory_path(error) / "endgrade-XXXXXX").string();
    if (!error && mkdtemp(name.data()) != nullptr) path_ = name;
  }
  ~TemporaryFolder() {
    std::error_code ignored;
    if (!path_.empty()) fs::remove_all(path_, ignored);
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  [[nodiscard]] const fs::path& path() const { return path_; }

 private:
  fs::path path_;
};

bool LeadsOut(const fs::path& name) {
  return name.empty() || name.is_absolute() || !name.has_filename() ||
         std::find(name.begin(), name.end(), "..") != name.end();
}

}  // namespace

Result<Limits> LimitsOfText(const std::vector<LimitsSource>& sources) {
  const TemporaryFolder folder;
  if (folder.path().empty()) {
    return Error{ErrorKind::kWriteFailed,
                 "",
                 0,
                 "there is no room for temporary files",
                 "Set TMPDIR to a folder that you may write to"};
  }
  if (sources.empty()) {
    return Error{ErrorKind::kNotFound, "", 0, "the limits' text is not inside", ""};
  }
  for (const LimitsSource& source : sources) {
    const fs::path name(source.name);
    if (LeadsOut(name)) {
      return Error{ErrorKind::kCorrupt, "", 0, "a name of limits inside leads elsewhere", ""};
    }
    const fs::path file = folder.path() / name;
    std::error_code ignored;
    fs::create_directories(file.parent_path(), ignored);
    if (auto error = WriteFileSafely(file, source.text)) return *error;
  }
  auto limits = ReadLimits(folder.path() / sources.front().name);
  if (limits.ok()) limits->path = sources.front().name;
  return limits;
}

}  // namespace endgrade::verify
