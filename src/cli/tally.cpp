#include "cli/tally.h"

#include "cli/exit_codes.h"

namespace endgrade::cli {

void Tally::Add(std::optional<Verdict> verdict, bool has_problem) {
  has_problem_ = has_problem_ || has_problem || !verdict;
  if (!verdict) {
    ++unreadable_;
  } else if (*verdict == Verdict::kPass) {
    ++pass_;
  } else if (*verdict == Verdict::kFail) {
    ++fail_;
  } else {
    ++ungradable_;
  }
}

std::string Tally::Text() const {
  std::string text = std::to_string(Count()) + " pictures: " + std::to_string(pass_) + " pass, " +
                     std::to_string(fail_) + " fail, " + std::to_string(ungradable_) +
                     " cannot be graded";
  if (unreadable_ > 0) text += ", " + std::to_string(unreadable_) + " could not be read";
  return text + ".";
}

int Tally::ExitCode() const {
  if (has_problem_ || Count() == 0) return kBadInput;
  if (fail_ > 0) return kSomeFail;
  return ungradable_ > 0 ? kSomeUngradable : kAllPass;
}

}  // namespace endgrade::cli
