// What a job file asks for: which faces, by which limits, by whom, with which camera.
#pragma once

#include "endgrade/result.h"
#include "job/address.h"
#include "lot/settings.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::job {

inline constexpr const char* kJobFile = "job.toml";
inline constexpr const char* kStoreFile = "job.sqlite";
inline constexpr const char* kManifestFile = "manifest.json";

struct Port {
  Address address;
  std::string kind;                // of its connectors; empty: the default limits
  std::vector<std::string> sides;  // one, or the two of a mated pair
  int fibres = 1;
};

struct Plan {
  std::string name;
  std::string who;
  std::string camera;      // in words
  lot::Settings settings;  // limits by kind, camera profile, scale, decision, name patterns
  std::filesystem::path camera_profile;  // the file; empty: none
  std::vector<Port> ports;               // in the order of the file

  [[nodiscard]] const Port* Find(const Address& address) const;
  // The one port that a person means by `text`. Errors: kBadOption, for none and for several.
  [[nodiscard]] Result<const Port*> Meant(const std::string& text) const;
  // Errors: kBadOption for a side or fibre that the port does not have. An empty side is the only
  // one of a port that has one.
  [[nodiscard]] Result<Face> FaceOf(const Port& port, const std::string& side, int fibre) const;
};

struct PlanCheck {
  std::vector<Error> errors;
  std::optional<Plan> plan;  // set exactly when there are no errors
};

// `job.toml` of a job's folder, schema "endgrade.job/1"; README has an example. All of its mistakes
// are reported, each with its line. Paths in it start from the folder and may not leave it, links
// followed. Limits that the job keeps already are those it goes on with: a newer program's do not
// slip in under the same ID.
[[nodiscard]] PlanCheck ReadPlan(const std::filesystem::path& job);

// A job file to start from.
//
//   ports     one [[panel]]'s ports in the job file's own way: "01..12", "A1"
[[nodiscard]] std::string FirstJobFile(const std::string& name,
                                       const std::string& who,
                                       const std::string& camera,
                                       const std::string& limits,
                                       const Address& panel,
                                       const std::vector<std::string>& ports,
                                       const std::vector<std::string>& sides);

}  // namespace endgrade::job
