#include "lot/run_lot.h"

#include "cli/run_in_order.h"

#include <map>
#include <set>
#include <string>

namespace endgrade::lot {
namespace {

using Unread = std::map<store::Seen, std::string>;

store::Seen SightOf(const Settings& settings, const Photograph& photograph) {
  return {photograph.path,
          settings.GradeKey(*photograph.limits),
          photograph.size_bytes,
          photograph.modified_ns};
}

std::vector<const Photograph*> NotYetKnown(const Settings& settings,
                                           const Intake& intake,
                                           const std::set<store::Seen>& seen,
                                           const Unread& unread) {
  std::vector<const Photograph*> pending;
  for (const Photograph& photograph : intake.photographs) {
    const store::Seen sight = SightOf(settings, photograph);
    if (!seen.contains(sight) || unread.contains(sight)) pending.push_back(&photograph);
  }
  return pending;
}

// Tried again, and again in vain, in the same words: nothing to write down.
bool IsOldNews(const store::Row& row, const store::Seen& sight, const Unread& unread) {
  const auto before = unread.find(sight);
  return before != unread.end() && row.sha256.empty() && before->second == row.record;
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
  const auto unread = options.retry ? store.NeverRead() : Unread{};
  if (!unread.ok()) return unread.error();
  const auto pending = NotYetKnown(settings, intake, *seen, *unread);
  RunCount count;
  count.known = intake.photographs.size() - pending.size();
  std::optional<Error> error;
  cli::RunInOrder<std::optional<store::Row>>(
      pending.size(),
      options.threads,
      [&](std::size_t i) { return GradePhotograph(settings, *pending[i], options.shard); },
      [&](std::size_t i, std::optional<store::Row> row) {
        const bool is_old = row && IsOldNews(*row, SightOf(settings, *pending[i]), *unread);
        if (row && !is_old) {
          error = store.Append(*row);
          if (error) return false;
        }
        ++(is_old ? count.known : row ? count.graded : count.elsewhere);
        if (row && row->verdict == "unreadable") ++count.unreadable;
        const bool go_on = step(row ? &*row : nullptr, i + 1, pending.size());
        count.stopped = !go_on && i + 1 < pending.size();
        return go_on;
      });
  if (error) return *error;
  return count;
}

}  // namespace endgrade::lot
