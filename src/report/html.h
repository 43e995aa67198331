// Text of strangers inside HTML.
#pragma once

#include <string>
#include <string_view>

namespace endgrade::report {

// For element content and quoted attributes: control characters and bytes that are not UTF-8 as
// \xNN, then & < > " ' escaped.
[[nodiscard]] std::string HtmlText(std::string_view text);

// JSON for a <script> element: nothing in it can end the element.
[[nodiscard]] std::string ScriptJson(const std::string& json);

// RFC 4648, section 4.
[[nodiscard]] std::string Base64(std::string_view bytes);

}  // namespace endgrade::report
