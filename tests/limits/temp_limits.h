// Limits files in a folder that is gone after the test.
#pragma once

#include "endgrade/limits.h"

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>

namespace endgrade {

class TempFolder {
 public:
  TempFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "endgrade-XXXXXX").string();
    if (!mkdtemp(pattern.data())) throw std::runtime_error("no temporary folder");
    path_ = pattern;
  }
  ~TempFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TempFolder(const TempFolder&) = delete;
  TempFolder& operator=(const TempFolder&) = delete;

  std::filesystem::path Write(const std::string& name, const std::string& text) const {
    const auto file = path_ / name;
    std::filesystem::create_directories(file.parent_path());
    std::ofstream(file, std::ios::binary) << text;
    return file;
  }
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

// A sound file whose lines the tests know by number.
inline const std::string kSoundLimits = R"(id = "sound"
title = "Sound limits"
edition = "none, for a test"
source = "made up for a test"
[fibre]
mode = "single"
cladding_diameter_um = 125
cladding_tolerance_um = 1
core_diameters_um = [9]
polish_angle_deg = 0
certainty = "m"
source = "from memory"
[cleaning]
max_attempts = 5
certainty = "c"
source = "common practice, no source"
[[zone]]
name = "A"
title = "core"
diameters_um = [0, 25]
certainty = "2"
[[zone]]
name = "B"
title = "cladding"
diameters_um = [25, 150.5]
certainty = "1"
[[rule]]
id = "a-any"
zone = "A"
kind = "any"
size = "any"
allowed = "none"
certainty = "house"
[[rule]]
id = "b-scratches"
zone = "B"
kind = "scratch"
size = "any"
allowed = "no limit"
certainty = "house"
[[rule]]
id = "b-small"
zone = "B"
kind = "defect"
size = "<= 3"
allowed = 4
certainty = "house"
[[rule]]
id = "b-large"
zone = "B"
kind = "defect"
size = "> 3"
allowed = "none"
certainty = "house"
)";

inline std::string Replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  if (at == std::string::npos) throw std::runtime_error("not in the text: " + from);
  return text.replace(at, from.size(), to);
}

// Sets $ENDGRADE_ZONES while it lives.
class LimitsFolderIs {
 public:
  explicit LimitsFolderIs(const std::filesystem::path& folder) {
    setenv("ENDGRADE_ZONES", folder.c_str(), 1);
  }
  ~LimitsFolderIs() { unsetenv("ENDGRADE_ZONES"); }
};

}  // namespace endgrade
