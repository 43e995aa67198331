// A file's bytes, read once: what is hashed and what is decoded are the same snapshot.
#pragma once

#include "endgrade/result.h"

#include <cstdint>
#include <filesystem>
#include <string>

namespace endgrade::read {

// The bytes of a regular file of 1 to `max_bytes` bytes. Folders, devices, pipes and sockets are
// refused without waiting for them.
//
//   errors    kNotFound, kUnreadable, kTooLarge; kCorrupt for an empty file
[[nodiscard]] Result<std::string> ReadFileBytes(const std::filesystem::path& path,
                                                std::int64_t max_bytes);

// The same; an error names the file.
[[nodiscard]] Result<std::string> ReadNamedFileBytes(const std::filesystem::path& path,
                                                     std::int64_t max_bytes);

}  // namespace endgrade::read
