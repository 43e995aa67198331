// How many pictures got which verdict, and the exit code that follows.
#pragma once

#include "endgrade/judge.h"

#include <cstddef>
#include <optional>
#include <string>

namespace endgrade::cli {

class Tally {
 public:
  // `verdict`: empty when the picture could not be read. `has_problem`: something about it could
  // not be read or written, so that the run must not look like a success.
  void Add(std::optional<Verdict> verdict, bool has_problem);

  [[nodiscard]] std::size_t Count() const { return pass_ + fail_ + ungradable_ + unreadable_; }

  // "12 pictures: 7 pass, 4 fail, 1 cannot be graded, 0 could not be read."
  [[nodiscard]] std::string Text() const;

  // kBadInput when anything had a problem, or when there was no picture at all.
  [[nodiscard]] int ExitCode() const;

 private:
  std::size_t pass_ = 0;
  std::size_t fail_ = 0;
  std::size_t ungradable_ = 0;
  std::size_t unreadable_ = 0;
  bool has_problem_ = false;
};

}  // namespace endgrade::cli
