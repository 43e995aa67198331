// A job's report: one self-contained HTML file that prints, a summary and then a page a port.
#pragma once

#include "job/plan.h"
#include "job/status.h"
#include "store/store.h"

#include <filesystem>
#include <string>

namespace endgrade::report {

enum class Paper { kA4, kLetter };

// Needs no network and no other file, and no script. It carries the records that it speaks of
// (evidence/carried.h). The same job and build give the same bytes: no clock is read.
[[nodiscard]] Result<std::string> JobReport(const std::filesystem::path& job,
                                            const store::Store& store,
                                            const job::Plan& plan,
                                            const job::Status& status,
                                            Paper paper = Paper::kA4);

}  // namespace endgrade::report
