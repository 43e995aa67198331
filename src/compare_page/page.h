// The comparison as one HTML file that needs nothing else: both photographs under a slider.
#pragma once

#include "compare_page/comparison_result.h"
#include "endgrade/result.h"

#include <string>

namespace endgrade::compare_page {

//   carried   evidence for the page to carry, JSON; the page is sealed then. Empty: none
//   errors    kInternal, where a picture cannot be encoded
[[nodiscard]] Result<std::string> ComparisonPage(const Compared& compared,
                                                 const std::string& carried = "");

}  // namespace endgrade::compare_page
