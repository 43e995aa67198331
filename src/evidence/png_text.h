// Text chunks of a PNG, by libpng.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace endgrade::evidence {

// The text under `word` before the pixels; empty where there is none; nothing where the file is no
// sound PNG up to its pixels.
[[nodiscard]] std::optional<std::string> PngText(std::string_view bytes, const std::string& word);

}  // namespace endgrade::evidence
