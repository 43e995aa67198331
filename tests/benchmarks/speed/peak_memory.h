// How much memory a piece of work holds at its height, from the kernel's own count.
#pragma once

#include <functional>
#include <optional>

namespace endgrade::bench {

// Peak of the process's resident memory while `work` runs, less what it was before, in MB (2^20
// bytes). Nothing where the kernel does not tell (Linux: /proc/self/status and clear_refs).
[[nodiscard]] std::optional<double> PeakMemoryMb(const std::function<void()>& work);

}  // namespace endgrade::bench
