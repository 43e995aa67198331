// Step 1, file -> Frame. The only step of the chain that touches a picture file.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/result.h"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace endgrade {

struct ReadOptions {
  // Most pixels (width x height) that are decoded. Checked in the header, before any pixel memory
  // is taken. 100 megapixels is eight times the largest camera this is made for. Range [1, 1e9].
  std::int64_t max_pixels = 100'000'000;

  // Largest file that is opened, in bytes. Range [1, 4 GiB].
  std::int64_t max_file_bytes = 256ll * 1024 * 1024;

  // Decode colour too. Grading needs luma only, which is quicker; the overlay wants colour. Luma is
  // the same either way.
  bool colour = false;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

// Reads JPEG, PNG, TIFF or BMP; the kind is told by the file's first bytes, never by its name. The
// file is read once into memory: digest and pixels are of the same bytes, whatever happens to it.
//
//   path      a regular file. Folders, devices and pipes are refused, and not waited for
//   returns   Frame with luma (8 or 16 bit), upright by EXIF (JPEG, PNG) or TIFF orientation, and
//             the SHA-256 of the file's bytes. Transparent pixels are laid over black; gamma and
//             colour profiles change nothing; of a TIFF with several pages, the first
//   errors    kNotFound, kUnreadable, kUnsupported, kCorrupt, kTooLarge, kOutOfMemory, kBadOption:
//             the file's name, what is wrong and what to do. A file cut short or damaged is
//             kCorrupt, not a grey patch
[[nodiscard]] Result<Frame> ReadFrame(const std::filesystem::path& path,
                                      const ReadOptions& options = {});

// The same of a file's bytes in memory; `name` stands in the frame and in errors.
[[nodiscard]] Result<Frame> DecodeFrame(std::string_view bytes,
                                        const std::filesystem::path& name,
                                        const ReadOptions& options = {});

}  // namespace endgrade
