// The one place that reads what overlays and reports carry inside.
#pragma once

#include "endgrade/result.h"

#include <string>
#include <string_view>

namespace endgrade::evidence {

// The text that a PNG or JPEG overlay or an HTML report carries, told by the file's first bytes.
//
//   name      stands in errors
//   errors    kNotFound: such a file, but nothing inside; kCorrupt: what is inside is not whole, or
//             a page was changed after it was sealed; kUnsupported: another kind of file
[[nodiscard]] Result<std::string> CarriedText(std::string_view bytes, const std::string& name);

// An HTML page's block and what seals it: `<script type="application/json" id="endgrade-evidence"
// data-sha256="...">`. The digest is of the whole page with sixty-four zeros in its own place.
inline constexpr const char* kUnsealed =
    "0000000000000000000000000000000000000000000000000000000000000000";

// The block for a page; `json` is made safe to stand in it. Then Seal the finished page.
[[nodiscard]] std::string HtmlBlock(const std::string& json);
[[nodiscard]] std::string Seal(std::string page);

}  // namespace endgrade::evidence
