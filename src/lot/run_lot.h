// Grades what is not in the store yet, in parallel, in bounded memory, in order.
#pragma once

#include "lot/grade_photograph.h"
#include "lot/intake.h"
#include "store/store.h"

#include <cstddef>
#include <functional>
#include <optional>

namespace endgrade::lot {

struct RunOptions {
  int threads = 1;
  Shard shard;
  bool retry = true;  // what could not be read before
};

struct RunCount {
  std::size_t known = 0;       // in the store already
  std::size_t graded = 0;      // now
  std::size_t unreadable = 0;  // of those
  std::size_t elsewhere = 0;   // of another shard
  bool stopped = false;        // before the end
};

// A photograph counts as known when the store has a row of its path, size, time and grade key. One
// that could not be read is tried again, and gets another row when that ends otherwise. What is
// graded is appended at once, ordered by path, whatever the number of threads and however often
// the run was broken off: the store of a run in pieces is that of a run in one piece.
//
//   step      after each photograph, with its row (none: of another shard) and how many are done of
//             how many; returns false to stop
//   errors    of the store; what was appended before stays
[[nodiscard]] Result<RunCount> RunLot(
    const Settings& settings,
    const Intake& intake,
    const RunOptions& options,
    store::Store& store,
    const std::function<bool(const store::Row*, std::size_t done, std::size_t all)>& step);

}  // namespace endgrade::lot
