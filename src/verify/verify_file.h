// An overlay or a report, held against the photographs it speaks of.
#pragma once

#include "endgrade/result.h"
#include "verify/report.h"

#include <filesystem>
#include <string>
#include <vector>

namespace endgrade::verify {

struct FileOptions {
  // Photographs, or folders of them; told by their hash. Empty: the path in the record is tried.
  std::vector<std::filesystem::path> photographs;
  std::filesystem::path camera;  // the camera's profile, where one was used
};

// Reads what the file carries, checks that it is whole, and grades each photograph again with the
// limits and settings inside. An overlay of this very program is drawn again too, and must have the
// same bytes.
//
//   errors    of reading; kNotFound when the file carries nothing. All else is in the report.
[[nodiscard]] Result<Report> VerifyFile(const std::filesystem::path& file,
                                        const FileOptions& options);

}  // namespace endgrade::verify
