#include "lot/run_lot.h"

#include "cli/run_in_order.h"

#include <set>

namespace endgrade::lot {
namespace {

std::vector<const Photograph*> NotYetKnown(const Settings& settings,
                                           const Intake& intake,
                                           const std::set<store::Seen>& seen) {
  std::vector<const Photograph*> pending;
  for (const Photograph& photograph : intake.photographs) {
    const store::Seen sight{photograph.path,
                            settings.GradeKey(*photograph.limits),
                            photograph.size_bytes,
                            photograph.modified_ns};
    if (!seen.contains(sight)) pending.push_back(&photograph);
  }
  return pending;
}

}  // namespace

Result<RunCount> RunLot(
    const Settings& settings,
    const Intake& intake,
    const RunOptions& options,
    store::Store& store,
    const std::function<bool(const store::Row*, std::size_t, std::size_t)>& step) {
  const auto seen = store.EverythingSeen();
  if (!seen.ok()) return seen.error();
  const auto pending = NotYetKnown(settings, intake, *seen);
  RunCount count;
  count.known = intake.photographs.size() - pending.size();
  std::optional<Error> error;
  cli::RunInOrder<std::optional<store::Row>>(
      pending.size(),
      options.threads,
      [&](std::size_t i) { return GradePhotograph(settings, *pending[i], options.shard); },
      [&](std::size_t i, std::optional<store::Row> row) {
        if (row) {
          error = store.Append(*row);
          if (error) return false;
        }
        ++(row ? count.graded : count.elsewhere);
        if (row && row->verdict == "unreadable") ++count.unreadable;
        const bool go_on = step(row ? &*row : nullptr, i + 1, pending.size());
        count.stopped = !go_on && i + 1 < pending.size();
        return go_on;
      });
  if (error) return *error;
  return count;
}

}  // namespace endgrade::lot
