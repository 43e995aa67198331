// What scripts rely on; never renumber.
#pragma once

namespace endgrade::cli {

// When several apply: kBadInput, then kSomeFail, then kSomeUngradable.
enum ExitCode : int {
  kAllPass = 0,
  kSomeFail = 1,
  kBadInput = 2,  // usage, unreadable input, or output that could not be written
  kSomeUngradable = 3,
};

}  // namespace endgrade::cli
