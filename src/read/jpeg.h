// JPEG: baseline, progressive and arithmetic-coded; grey, YCbCr, RGB, CMYK and YCCK.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/read.h"
#include "endgrade/result.h"

#include <string_view>

namespace endgrade::read {

// Upright, without path and digest. Luma is the file's own brightness channel where it has one, and
// the same whether colour is asked for or not.
[[nodiscard]] Result<Frame> DecodeJpeg(std::string_view bytes, const ReadOptions& options);

}  // namespace endgrade::read
