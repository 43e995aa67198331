#include "core/memory_reserve.h"

#include <atomic>
#include <cstdlib>
#include <new>

namespace endgrade {
namespace {

constexpr std::size_t kReserveBytes = 256 * 1024;  // common practice, no source
std::atomic<void*> reserve = nullptr;

// `new` tries again after this returns.
void GiveReserve() {
  void* held = reserve.exchange(nullptr);
  if (held == nullptr) throw std::bad_alloc();
  std::free(held);
}

}  // namespace

void KeepMemoryReserve() {
  if (reserve.load() != nullptr) return;
  std::set_new_handler(GiveReserve);
  void* held = std::malloc(kReserveBytes);
  void* none = nullptr;
  if (!reserve.compare_exchange_strong(none, held)) std::free(held);
}

}  // namespace endgrade
