// Words that the record, the terminal and the overlay share.
#pragma once

#include "endgrade/judge.h"
#include "endgrade/limits.h"

#include <string>

namespace endgrade {

[[nodiscard]] const char* RecordWord(Verdict verdict);     // "pass", "fail", "ungradable"
[[nodiscard]] const char* RecordWord(FeatureKind kind);    // "scratch", "defect"
[[nodiscard]] const char* RecordWord(RuleKind kind);       // "scratch", "defect", "any"
[[nodiscard]] const char* RecordWord(ScaleSource source);  // "cladding", "given", "profile"

[[nodiscard]] const char* VerdictWords(Verdict verdict);  // "PASS", "FAIL", "CANNOT GRADE"

// A number with so many decimals, "?" if it is not one.
[[nodiscard]] std::string FixedWords(double value, int decimals);

}  // namespace endgrade
