// A page as PDF, by a browser's own print command.
#pragma once

#include "endgrade/result.h"

#include <filesystem>
#include <optional>

namespace endgrade::job_page {

// Runs $ENDGRADE_BROWSER, else chromium (or chromium-browser, google-chrome) from the path, without
// a window and without a network: `chromium --headless --print-to-pdf=FILE.pdf FILE.html`. Waits
// two minutes at most. The target is as it was, or whole.
//
//   errors    kNotFound when there is no such program; kWriteFailed when it makes no PDF
[[nodiscard]] std::optional<Error> PrintPdf(const std::filesystem::path& html,
                                            const std::filesystem::path& pdf);

}  // namespace endgrade::job_page
