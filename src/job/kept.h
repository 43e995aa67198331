// Limits and camera profiles that a job keeps, each by its hash.
#pragma once

#include "endgrade/camera.h"
#include "endgrade/limits.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::job {

// "limits/<sha256>": holds the file and those it builds on.
[[nodiscard]] std::filesystem::path LimitsFolderOf(const std::string& sha256);
[[nodiscard]] std::filesystem::path CameraFileOf(
    const std::string& sha256);  // "cameras/<sha256>.toml"

// The limits kept under a hash. Errors: kNotFound; kCorrupt when what is there has another hash.
[[nodiscard]] Result<Limits> KeptLimits(const std::filesystem::path& job,
                                        const std::string& sha256,
                                        const std::string& id);
// All limits of an ID that are kept and sound.
[[nodiscard]] std::vector<Limits> KeptLimitsCalled(const std::filesystem::path& job,
                                                   const std::string& id);
[[nodiscard]] Result<CameraProfile> KeptCamera(const std::filesystem::path& job,
                                               const std::string& sha256);

}  // namespace endgrade::job
