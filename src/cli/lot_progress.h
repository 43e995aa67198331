// How far a long run is: a bar on a terminal, plain lines elsewhere.
#pragma once

#include <chrono>
#include <cstddef>
#include <string>

namespace endgrade::cli {

// "[#####-----]  312 of 1000, 31 %, 12.3/s, 56 s left" from how many are done in how long.
[[nodiscard]] std::string ProgressWords(std::size_t done,
                                        std::size_t all,
                                        double seconds,
                                        bool with_bar);

class LotProgress {
 public:
  LotProgress();
  ~LotProgress() { Clear(); }
  LotProgress(const LotProgress&) = delete;
  LotProgress& operator=(const LotProgress&) = delete;

  // On a terminal at most ten times a second; elsewhere a line every half minute, and at the end
  // when there was such a line.
  void Show(std::size_t done, std::size_t all);
  void Clear();

 private:
  using Clock = std::chrono::steady_clock;
  bool is_terminal_;
  bool is_shown_ = false;
  bool has_printed_ = false;
  Clock::time_point start_;
  Clock::time_point last_;
};

}  // namespace endgrade::cli
