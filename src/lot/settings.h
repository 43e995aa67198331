// All that a lot's grades depend on, from a lot file or from defaults.
#pragma once

#include "endgrade/grade_image.h"
#include "lot/name_pattern.h"
#include "statistics/sampling_plan.h"

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::lot {

struct Sampling {
  std::string level = "II";
  double aql_percent = 1.0;
  statistics::Severity severity = statistics::Severity::kNormal;
  int lot_size = 0;
  std::string draw;  // where more cords are there than the plan asks for: what the draw starts from
};

struct Settings {
  std::string name;
  std::filesystem::path photographs;  // the folder
  std::vector<NamePattern> patterns = DefaultPatterns();
  std::map<std::string, Limits> limits;            // by connector kind; "": all others
  std::map<std::string, std::string> kind_of_end;  // "B" -> "sm-apc": cords with two kinds
  std::vector<std::string> ends;                   // of every cord; empty: all that are met
  int fibres = 0;                                  // of every end; 0: all that are met
  GradeOptions options;
  std::optional<Sampling> sampling;

  // Null when nothing covers this kind.
  [[nodiscard]] const Limits* LimitsOf(const std::string& kind) const;
  // SHA-256 of everything but the picture that a grade with these limits depends on, the program's
  // version and build included.
  [[nodiscard]] std::string GradeKey(const Limits& limits) const;
};

// A lot file, TOML, schema "endgrade.lot/1"; README has an example. All of its mistakes are
// reported, each with its line. Paths in it (photographs, limits, camera) start from its own folder
// and may not leave it, links followed.
struct SettingsCheck {
  std::vector<Error> errors;
  std::optional<Settings> settings;  // set exactly when there are no errors
};
[[nodiscard]] SettingsCheck ReadLotFile(const std::filesystem::path& file);

// No lot file: the folder's name is the lot's, and its folders that are called as limits are
// ("sm-upc") are graded by them.
//
//   limits   ID or file for all others; empty: none
[[nodiscard]] Result<Settings> DefaultSettings(const std::filesystem::path& folder,
                                               const std::string& limits);

}  // namespace endgrade::lot
