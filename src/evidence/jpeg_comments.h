// Comments of a JPEG, by libjpeg.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace endgrade::evidence {

// All COM segments before the picture, in order; nothing where the file is no sound JPEG up to it.
[[nodiscard]] std::optional<std::vector<std::string>> JpegComments(std::string_view bytes);

}  // namespace endgrade::evidence
