// A photograph graded again, and what differs from its record.
#pragma once

#include "endgrade/grade_image.h"

#include <optional>
#include <string>
#include <vector>

namespace endgrade::verify {

// What differs between two records of one photograph, in words.
struct Comparison {
  bool same_bytes = false;    // but for the times
  bool same_program = false;  // version and build
  bool same_but_program = false;
  bool same_verdict = false;
  std::vector<std::string> differences;  // "verdict: pass, now fail", "features: 3, now 4: ..."
};

// `recorded` and `now`: records, schema endgrade.result/1. The path is not compared. Errors:
// kCorrupt for a record that is none.
[[nodiscard]] Result<Comparison> CompareRecords(const std::string& recorded,
                                                const std::string& now);

}  // namespace endgrade::verify
