// Work on several threads, results in order, memory bounded.
#pragma once

#include "core/memory_reserve.h"

#include <algorithm>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <functional>
#include <map>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

namespace endgrade::cli {

// Calls work(0), ..., work(count - 1), each once, on `threads` threads, and emit(i, result) on the
// calling thread in the order of i. No more than 2 * threads results wait at any time: a slow
// reader of the output holds the work back. When emit returns false, no further work is begun, what
// is in hand is finished and dropped, and the call returns. What work or emit throws ends it in the
// same way, and is thrown on here once the threads have ended.
template <typename Value>
void RunInOrder(std::size_t count,
                int threads,
                const std::function<Value(std::size_t)>& work,
                const std::function<bool(std::size_t, Value)>& emit) {
  std::mutex mutex;
  std::condition_variable changed;
  std::map<std::size_t, Value> ready;  // done, not yet emitted
  std::size_t next_to_start = 0;
  std::size_t next_to_emit = 0;
  bool stopped = false;
  std::exception_ptr thrown;  // by work
  const std::size_t window = 2 * static_cast<std::size_t>(std::max(threads, 1));

  const auto worker = [&] {
    std::unique_lock lock(mutex);
    while (true) {
      changed.wait(lock, [&] {
        return stopped || next_to_start == count || next_to_start < next_to_emit + window;
      });
      if (stopped || next_to_start == count) return;
      const std::size_t i = next_to_start++;
      lock.unlock();
      KeepMemoryReserve();
      try {
        Value value = work(i);
        lock.lock();
        ready.emplace(i, std::move(value));
      } catch (...) {
        if (!lock.owns_lock()) lock.lock();
        thrown = std::current_exception();
        stopped = true;
      }
      changed.notify_all();
    }
  };

  std::vector<std::jthread> pool;
  // Before the threads are waited for, whichever way this ends: they wait for room or for this.
  struct Stop {
    std::mutex& mutex;
    std::condition_variable& changed;
    bool& stopped;
    ~Stop() {
      const std::lock_guard lock(mutex);
      stopped = true;
      changed.notify_all();
    }
  };
  const std::size_t wanted = std::min(static_cast<std::size_t>(std::max(threads, 1)), count);
  pool.reserve(wanted);
  const Stop stop{mutex, changed, stopped};
  try {
    for (std::size_t t = 0; t < wanted; ++t) pool.emplace_back(worker);
  } catch (const std::exception&) {
    // The machine gives no more threads, or no memory for one; those that started do all the work.
  }
  if (pool.empty()) {
    for (std::size_t i = 0; i < count && emit(i, work(i)); ++i) {
    }
    return;
  }

  std::unique_lock lock(mutex);
  while (!stopped && next_to_emit < count) {
    changed.wait(lock, [&] { return stopped || ready.contains(next_to_emit); });
    if (stopped) break;
    auto node = ready.extract(next_to_emit);
    lock.unlock();
    const bool go_on = emit(node.key(), std::move(node.mapped()));
    lock.lock();
    ++next_to_emit;
    stopped = stopped || !go_on;
    changed.notify_all();
  }
  if (thrown) std::rethrow_exception(thrown);
}

}  // namespace endgrade::cli
