// What cleaning did to a face, and what it needs next.
#pragma once

#include "endgrade/advice.h"
#include "job/status.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::job_page {

struct FaceHistory {
  // Of two photographs and more: how they lie on each other, and what became of each thing.
  std::string registration;
  std::string counts;               // "4 gone, 1 still there"
  std::vector<std::string> things;  // "defect of 11.4 um in zone A: gone"
  std::string not_compared;         // why there is none of that; empty: there is
  std::optional<Advice> advice;     // none where a face has no photograph, or it cannot be had
};

// Reads and grades the face's photographs again with the limits and settings of their day. Where
// this program's verdicts are not the recorded ones nothing is compared: it would speak of other
// features than the overlays show.
[[nodiscard]] FaceHistory HistoryOf(const std::filesystem::path& job,
                                    const job::FaceStatus& face,
                                    const AdviceTable& table);

}  // namespace endgrade::job_page
