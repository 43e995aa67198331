// What to do next with a face: clean, look at the other side, or stop. Wording and order are data,
// zones/advice.toml; what is counted and how it is decided is here.
#pragma once

#include "endgrade/compare.h"
#include "endgrade/judge.h"
#include "endgrade/limits.h"
#include "endgrade/result.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// Written in advice files and to records; do not rename.
enum class NextAction {
  kPhotographAgain,
  kCleanDry,
  kCleanWetThenDry,
  kInspectMate,
  kStop,  // set aside; re-polish or replace
};

// What is left on a face that fails.
enum class Left {
  kRemovable,  // something that breaks a rule may still come off
  kPermanent,  // all that breaks a rule is damage, or has stayed through cleaning after cleaning
  kNew,        // something that breaks a rule came with the last cleaning
};

struct Situation {
  Verdict verdict = Verdict::kUngradable;
  int num_cleanings = 0;  // so far
  int max_cleanings = 5;  // after which a face that still fails is rejected
  Left left = Left::kRemovable;
};

// One line of an advice file: the first that fits is given.
struct AdviceLine {
  std::string id;
  Verdict verdict = Verdict::kFail;
  std::optional<Left> left;               // empty: whatever is left
  std::optional<int> num_cleanings_from;  // so many or more so far; empty: any number
  bool cleanings_spent = false;           // only when max_cleanings is reached
  NextAction action = NextAction::kStop;
  std::string say;
  std::string source;
  Certainty certainty = Certainty::kCommonPractice;
};

struct AdviceTable {
  std::string title;
  std::string safety;  // stands beside every advice
  std::vector<AdviceLine> lines;
  std::filesystem::path path;
  std::string sha256;  // of the file's bytes
};

struct Advice {
  std::string id;  // of the line
  NextAction action = NextAction::kStop;
  std::string say;
  std::string source;
  Certainty certainty = Certainty::kCommonPractice;
  std::string safety;
};

// Errors: kNotFound, kBadLimits with file, line and what was expected; also where some situation
// would find no line.
[[nodiscard]] Result<AdviceTable> ReadAdvice(const std::filesystem::path& path);

// advice.toml of LimitsFolder().
[[nodiscard]] Result<AdviceTable> FindAdvice();

// The first line that fits; there always is one.
[[nodiscard]] Advice NextStep(const AdviceTable& table, const Situation& situation);

// Where a face stands after the last of its attempts. One cleaning is taken to lie between each
// photograph and the next. What breaks a rule counts as permanent when it is a scratch that stayed
// through one cleaning, or anything else that stayed through `kCleaningsThatProve`: a pit or a chip
// cannot be told from dirt by its looks alone.
//
//   comparison  of the same attempts; null for a single photograph
inline constexpr int kCleaningsThatProve = 2;  // one dry, one wet; common practice, no source
[[nodiscard]] Situation SituationOf(const std::vector<Attempt>& attempts,
                                    const Limits& limits,
                                    const Comparison* comparison);

[[nodiscard]] const char* RecordWord(NextAction action);
[[nodiscard]] const char* ActionWords(NextAction action);  // "clean dry", ...
[[nodiscard]] const char* RecordWord(Left left);

}  // namespace endgrade
