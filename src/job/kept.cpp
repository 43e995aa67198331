#include "job/kept.h"

#include <algorithm>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

Error Changed(const fs::path& file, const char* what) {
  return {ErrorKind::kCorrupt,
          file.string(),
          0,
          std::string(what) + " kept here are not those that were used",
          "Bring back a copy of this file"};
}

}  // namespace

fs::path LimitsFolderOf(const std::string& sha256) { return fs::path("limits") / sha256; }
fs::path CameraFileOf(const std::string& sha256) {
  return fs::path("cameras") / (sha256 + ".toml");
}

Result<Limits> KeptLimits(const fs::path& job, const std::string& sha256, const std::string& id) {
  const fs::path file = job / LimitsFolderOf(sha256) / (id + ".toml");
  auto limits = ReadLimits(file);
  if (limits.ok() && limits->sha256 != sha256) return Changed(file, "the limits");
  return limits;
}

std::vector<Limits> KeptLimitsCalled(const fs::path& job, const std::string& id) {
  std::vector<Limits> kept;
  std::error_code error;
  fs::directory_iterator it(job / "limits", error);
  for (; !error && it != fs::directory_iterator(); it.increment(error)) {
    std::error_code ignored;
    if (!fs::is_regular_file(it->path() / (id + ".toml"), ignored)) continue;
    auto limits = KeptLimits(job, it->path().filename().string(), id);
    if (limits.ok()) kept.push_back(std::move(*limits));
  }
  std::sort(kept.begin(), kept.end(), [](const Limits& a, const Limits& b) {
    return a.sha256 < b.sha256;
  });
  return kept;
}

Result<CameraProfile> KeptCamera(const fs::path& job, const std::string& sha256) {
  const fs::path file = job / CameraFileOf(sha256);
  auto profile = ReadCameraProfile(file);
  if (profile.ok() && profile->sha256 != sha256) return Changed(file, "the camera's values");
  return profile;
}

}  // namespace endgrade::job
