// Acceptance sampling by attributes, single plans of ISO 2859-1 for per cent nonconforming.
//
// The tables are sold and nobody here has them open: code letters are of table 1, plans of tables
// 2-A (normal) and 2-B (tightened), from memory, as their own diagonal structure gives them; rows
// that public pages quote are checked in tests/statistics/sampling_plan_test.cpp. Reduced
// inspection (2-C) is not offered: it was not recalled surely enough. Where a lab holds the
// standard, its text wins. When to switch between normal and tightened is the user's to decide.
#pragma once

#include "endgrade/result.h"

#include <optional>
#include <string>
#include <vector>

namespace endgrade::statistics {

enum class Severity { kNormal, kTightened };

struct SamplingPlan {
  std::string level;       // "II"
  double aql_percent = 0;  // acceptance quality limit, per cent nonconforming
  Severity severity = Severity::kNormal;
  int lot_size = 0;
  std::string code_letter;  // of the lot size and level
  std::string plan_letter;  // whose row is used, after the table's arrows
  int sample_size = 0;      // the whole lot where the plan asks for no less than that
  int accept_up_to = 0;     // Ac
  int reject_from = 1;      // Re
  bool whole_lot = false;   // 100 % inspection
};

// Preferred AQLs of the tables up to 10 %, the largest that is a share.
[[nodiscard]] const std::vector<double>& PreferredAqls();

// Table 1. Levels "S-1" to "S-4", "I", "II", "III". Errors: kBadOption.
[[nodiscard]] Result<std::string> CodeLetter(int lot_size, const std::string& level);

// Errors: kBadOption for a level or AQL that the tables do not have, a lot of fewer than two, or a
// place in the table that is not known here.
[[nodiscard]] Result<SamplingPlan> SinglePlan(int lot_size,
                                              const std::string& level,
                                              double aql_percent,
                                              Severity severity);

}  // namespace endgrade::statistics
