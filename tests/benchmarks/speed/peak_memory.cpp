#include "tests/benchmarks/speed/peak_memory.h"

#include <fstream>
#include <malloc.h>
#include <string>

namespace endgrade::bench {
namespace {

// A line of /proc/self/status, "VmHWM:   1234 kB", in MB.
std::optional<double> StatusMb(const std::string& name) {
  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with(name + ":")) return std::stod(line.substr(name.size() + 1)) / 1024.0;
  }
  return std::nullopt;
}

}  // namespace

std::optional<double> PeakMemoryMb(const std::function<void()>& work) {
  malloc_trim(0);  // what was freed before is not there to be used again
  std::ofstream clear("/proc/self/clear_refs");
  clear << "5" << std::flush;  // VmHWM starts anew from what is resident now
  if (!clear) return std::nullopt;
  const auto before = StatusMb("VmRSS");
  work();
  const auto peak = StatusMb("VmHWM");
  if (!before || !peak) return std::nullopt;
  return *peak - *before;
}

}  // namespace endgrade::bench
