// Ctrl-C as a wish to stop after the picture in hand, not as an axe.
#pragma once

namespace endgrade::cli {

// While it lives, the first SIGINT or SIGTERM is only noted; a second one ends the program.
class InterruptGuard {
 public:
  InterruptGuard();
  ~InterruptGuard();
  InterruptGuard(const InterruptGuard&) = delete;
  InterruptGuard& operator=(const InterruptGuard&) = delete;

  [[nodiscard]] bool Interrupted() const;

  // Ends the program by the signal that was noted, so that a calling shell sees it and stops too.
  // Returns at once when there was none.
  void EndBySignal() const;
};

}  // namespace endgrade::cli
