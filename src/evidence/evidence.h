// What an overlay or a report carries inside, so that it can be held against its photograph later.
#pragma once

#include "endgrade/grade_image.h"
#include "limits/sources.h"

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

// Errors: kCorrupt, kUnsupported for a newer schema.
[[nodiscard]] Result<Evidence> ParseEvidence(const std::string& json);

// The same settings as JSON text, and back, for logs.
[[nodiscard]] std::string SettingsJson(const Settings& settings);
[[nodiscard]] Result<Settings> ParseSettings(const std::string& json);

}  // namespace endgrade::evidence
