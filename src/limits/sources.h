// The files that limits are made of, to be kept beside what they graded.
#pragma once

#include "endgrade/limits.h"

#include <string>
#include <vector>

namespace endgrade {

struct LimitsSource {
  std::string name;  // a path from the first file's folder, with slashes: "sm-upc.toml"
  std::string text;  // the file's bytes
};

// The file of `path` first, then those it builds on. Files of these names and texts in any folder,
// wherever it is, read back as the same limits with the same sha256.
//
//   errors    of reading; kBadLimits for one that builds on a file outside its own folder by a path
[[nodiscard]] Result<std::vector<LimitsSource>> LimitsSourcesOf(const std::filesystem::path& path);

}  // namespace endgrade
