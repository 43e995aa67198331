// A job's report: one self-contained HTML file that prints, a summary and then a page a port.
#pragma once

#include "job/plan.h"
#include "job/status.h"
#include "store/store.h"

#include <filesystem>
#include <string>

namespace endgrade::job_page {

enum class Paper { kA4, kLetter };

struct ReportOptions {
  Paper paper = Paper::kA4;
  int threads = 1;  // faces compared at a time
};

// Needs no network and no other file, and no script. It carries the records that it speaks of
// (evidence/carried.h). What cleaning did to each face, and the advice, come from its photographs,
// graded again. The same job and build give the same bytes: no clock is read.
//
//   errors    of the store, of the advice file
[[nodiscard]] Result<std::string> JobReport(const std::filesystem::path& job,
                                            const store::Store& store,
                                            const job::Plan& plan,
                                            const job::Status& status,
                                            const ReportOptions& options = {});

}  // namespace endgrade::job_page
