// A job, held against itself and against its photographs.
#pragma once

#include "endgrade/result.h"
#include "evidence/key.h"
#include "verify/report.h"

#include <cstddef>
#include <filesystem>
#include <functional>
#include <optional>

namespace endgrade::verify {

struct JobOptions {
  bool grade = true;  // grade every photograph again
  int threads = 1;
  std::optional<evidence::PublicKey> signer;  // must have signed all that is there
  // How many photographs are graded of how many; false stops.
  std::function<bool(std::size_t done, std::size_t all)> progress;
};

// Checks every file against the manifest, both chains, every photograph, limits, camera and
// attachment against the hash in the chains, every signature; then grades each photograph again
// with its recorded limits and settings, and draws its overlay again. Writes nothing.
//
//   errors    kNotFound for a folder that is no job; kUnsupported for one of a newer version;
//             kWriteFailed while another command is writing to it. All else is in the report.
[[nodiscard]] Result<Report> VerifyJob(const std::filesystem::path& job, const JobOptions& options);

}  // namespace endgrade::verify
