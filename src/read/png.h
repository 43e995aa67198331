// PNG: every bit depth and colour type, interlaced or not.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/read.h"
#include "endgrade/result.h"

#include <string_view>

namespace endgrade::read {

// Upright, without path and digest. Gamma and colour profiles change nothing.
[[nodiscard]] Result<Frame> DecodePng(std::string_view bytes, const ReadOptions& options);

}  // namespace endgrade::read
