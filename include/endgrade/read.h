// Step 1, file -> Frame. The only step of the chain that touches a picture file.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "endgrade/frame.h"
#include "endgrade/result.h"

namespace endgrade {

struct ReadOptions {
  // Most pixels (width x height) that are decoded. Checked in the header, before any pixel memory
  // is taken. 100 megapixels is eight times the largest camera this is made for. Range [1, 1e9].
  std::int64_t max_pixels = 100'000'000;

  // Largest file that is opened, in bytes. Range [1, 4 GiB].
  std::int64_t max_file_bytes = 256ll * 1024 * 1024;

  // Decode colour too. Grading needs luma only, which is quicker; the overlay wants colour.
  bool colour = false;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

// Reads JPEG, PNG, TIFF or BMP; the kind is told by the file's first bytes, never by its name.
//
//   returns   Frame with luma (8 or 16 bit), upright, and the SHA-256 of the file's bytes
//   errors    kNotFound, kUnreadable, kUnsupported, kCorrupt, kTooLarge, kOutOfMemory: the file's
//             name, what is wrong and what to do. A file cut short is kCorrupt, not a grey patch.
[[nodiscard]] Result<Frame> ReadFrame(const std::filesystem::path& path,
                                      const ReadOptions& options = {});

}  // namespace endgrade
