// What an overlay or a report carries inside, so that it can be held against its photograph later.
#pragma once

#include "endgrade/grade_image.h"
#include "limits/sources.h"

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::evidence {

// What a grade depends on beside picture, limits and program.
struct Settings {
  std::string decision = "simple";  // or "guarded"
  std::optional<double> um_per_px;
  std::string camera_sha256;  // of the camera's profile; empty: none

  [[nodiscard]] bool operator==(const Settings&) const = default;
};

[[nodiscard]] Settings SettingsOf(const GradeOptions& options);

// Decision and scale as they were; the camera is the caller's to find by its hash.
void Apply(const Settings& settings, GradeOptions* options);

struct Evidence {
  std::string record;  // endgrade.result/1, byte for byte as it was written
  Settings settings;
  std::vector<LimitsSource> limits;  // may be empty: not kept
};

// One line of JSON, schema "endgrade.evidence/1".
[[nodiscard]] std::string EvidenceJson(const Evidence& evidence);

// What a report of several photographs carries: one line of JSON, schema
// "endgrade.evidence-list/1". Texts are JSON; what is empty is left out.
struct EvidenceList {
  std::vector<std::string> evidence;  // of each photograph, as EvidenceJson or BareEvidenceJson
  // Photographs whose record would take too much room, as BriefEvidenceJson.
  std::vector<std::string> brief;
  // Where pieces do not say it themselves: settings of all, limits by the hash in their records.
  std::optional<Settings> settings;
  std::map<std::string, std::vector<LimitsSource>> limits;
  std::string comparison;  // endgrade.comparison/1, of the photographs in `evidence` in turn
  std::string drawn;       // which picture of it the file is: "side-by-side", "difference"
};
[[nodiscard]] std::string EvidenceListJson(const EvidenceList& list);

// A piece that leaves settings and limits to its list.
[[nodiscard]] std::string BareEvidenceJson(const std::string& record);

// A photograph's place in a list without its record, but with the record's hash.
struct BriefEvidence {
  std::string path;
  std::string picture_sha256;
  std::string limits_sha256;
  std::string program;  // "endgrade 0.1.0 (build)"
  std::string verdict;
  std::string record_sha256;  // of the record with its times left out
};
[[nodiscard]] std::string BriefEvidenceJson(const BriefEvidence& brief);

// What a file carries, one piece of evidence or a list of them, with each piece made whole.
struct Carried {
  std::vector<Evidence> evidence;
  std::vector<BriefEvidence> brief;
  std::optional<Settings> settings;
  std::map<std::string, std::vector<LimitsSource>> limits;
  bool is_list = false;
  std::string comparison;
  std::string drawn;
};
// Errors: kCorrupt, kUnsupported for a newer schema.
[[nodiscard]] Result<Carried> ParseCarried(const std::string& json);

// The same settings as JSON text, and back, for logs.
[[nodiscard]] std::string SettingsJson(const Settings& settings);
[[nodiscard]] Result<Settings> ParseSettings(const std::string& json);

}  // namespace endgrade::evidence
