// --camera FILE, for every verb that grades.
#pragma once

#include "endgrade/grade_image.h"

#include <CLI/CLI.hpp>

#include <optional>
#include <string>

namespace endgrade::cli {

void AddCameraOption(CLI::App& verb, std::string* file);

// Reads the profile into the options; nothing when no file was named.
[[nodiscard]] std::optional<Error> UseCameraFile(const std::string& file, GradeOptions* options);

}  // namespace endgrade::cli
