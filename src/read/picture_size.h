// What a header says of a picture's size, held against the limits before any pixel memory is taken.
#pragma once

#include "endgrade/read.h"
#include "endgrade/result.h"

#include <cstdint>
#include <optional>

namespace endgrade::read {

// Nothing, or kCorrupt (no pixels) or kTooLarge (more than options.max_pixels, or a side that
// OpenCV's matrices cannot hold).
[[nodiscard]] std::optional<Error> SizeProblem(std::int64_t width,
                                               std::int64_t height,
                                               const ReadOptions& options);

}  // namespace endgrade::read
