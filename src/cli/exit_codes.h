// What scripts rely on; never renumber.
#pragma once

#include "endgrade/judge.h"

namespace endgrade::cli {

// When several apply: kBadInput, then kSomeFail, then kSomeUngradable.
enum ExitCode : int {
  kAllPass = 0,
  kSomeFail = 1,
  kBadInput = 2,  // usage, unreadable input, or output that could not be written
  kSomeUngradable = 3,
};

// Of one picture.
[[nodiscard]] constexpr ExitCode CodeOf(Verdict verdict) {
  switch (verdict) {
    case Verdict::kPass:
      return kAllPass;
    case Verdict::kFail:
      return kSomeFail;
    case Verdict::kUngradable:
      break;
  }
  return kSomeUngradable;
}

}  // namespace endgrade::cli
