// Paths that a file names may not lead out of its folder.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace endgrade::lot {

// The place of a relative path below `folder` (empty: the current one), links followed; nothing
// when it is absolute, leads out, or cannot be looked at.
[[nodiscard]] std::optional<std::filesystem::path> PlaceInside(const std::filesystem::path& folder,
                                                               const std::string& text);

}  // namespace endgrade::lot
