// A run over many pictures: read, grade, print, write. One bad picture never costs the others.
#pragma once

#include "endgrade/grade_image.h"
#include "limits/sources.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::cli {

struct GradeRun {
  Limits limits;
  GradeOptions options;
  std::vector<std::filesystem::path> pictures;
  std::optional<std::filesystem::path> folder;   // for results.ndjson and overlays/
  std::optional<std::string> overlay_extension;  // ".png" or ".jpg"; empty: no overlays
  std::vector<LimitsSource> limits_sources;      // for overlays to carry; empty: not kept
  bool json = false;                             // records on stdout instead of words
  int threads = 1;
};

// Results go to stdout and to the folder in the order of `pictures`, problems to stderr, a line
// each. Returns the exit code. After Ctrl-C the records so far stay in the partial file and the
// program ends by that signal.
[[nodiscard]] int GradeAll(const GradeRun& run);

}  // namespace endgrade::cli
