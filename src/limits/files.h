// Finding limits files and reading their bytes.
#pragma once

#include "endgrade/result.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// What to do next, beside the limits and not one of them (endgrade/advice.h).
inline constexpr const char* kAdviceFile = "advice.toml";

// Every *.toml file under a folder but advice files, sorted by path; empty if there is no such
// folder.
[[nodiscard]] std::vector<std::filesystem::path> LimitsFilesUnder(
    const std::filesystem::path& folder);

// Those of them that are called <id>.toml.
[[nodiscard]] std::vector<std::filesystem::path> LimitsFilesOf(const std::filesystem::path& folder,
                                                               const std::string& id);

// Whether a person who wrote this means a file rather than an ID.
[[nodiscard]] bool LooksLikePath(const std::string& id_or_file);

// The file that `extends` in `file` means: a path from the file's own folder, else the ID of limits
// beside it, else of shipped limits. Nothing if there is none.
[[nodiscard]] std::optional<std::filesystem::path> FindParent(const std::string& extends,
                                                              const std::filesystem::path& file);

// The bytes of a regular file of at most 1 MiB. Errors: kNotFound, kUnreadable, kTooLarge.
[[nodiscard]] Result<std::string> ReadBytes(const std::filesystem::path& file);

}  // namespace endgrade
