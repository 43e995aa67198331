// What build this is; stands in every record.
#pragma once

#include <string>

namespace endgrade {

[[nodiscard]] std::string Version();  // "0.1.0"
[[nodiscard]] std::string Build();    // source revision and compiler, "3f2a91c g++ 12.2.0 Release"

}  // namespace endgrade
