#include "store/chain.h"
#include "store/store.h"

#include <algorithm>

namespace endgrade::store {
namespace {

// The photographs' chain; where it stood after each row, for the log of runs to be held against.
std::optional<Error> VerifyRows(const Store& store,
                                std::vector<std::string>* heads,
                                Verification* verification) {
  heads->push_back(ChainStart());
  return store.ForEach({}, RowParts::kAll, [&](const Row& row) {
    const std::int64_t expected = verification->num_photographs + 1;
    if (row.seq != expected) {
      verification->problems.push_back("row " + std::to_string(expected) + " is missing");
      return false;
    }
    if (row.chain != ChainOf(heads->back(), row)) {
      verification->problems.push_back("row " + std::to_string(row.seq) + " (" + row.path +
                                       ") is not as it was written");
      return false;
    }
    heads->push_back(row.chain);
    verification->num_photographs = row.seq;
    return true;
  });
}

void VerifyRuns(const std::vector<RunEntry>& runs,
                const std::vector<std::string>& heads,
                Verification* verification) {
  std::string before = ChainStart();
  const auto problem = [&](const RunEntry& run, const char* what) {
    verification->problems.push_back("entry " + std::to_string(run.seq) + " of the log of runs " +
                                     what);
  };
  for (const RunEntry& run : runs) {
    const std::string chain = ChainOf(
        before,
        {std::to_string(run.seq), run.at, run.event, std::to_string(run.photographs), run.head});
    if (run.seq != verification->num_runs + 1 || run.chain != chain) {
      return problem(run, "is not as it was written");
    }
    const auto place = static_cast<std::size_t>(run.photographs);
    if (run.photographs < 0 || place >= heads.size() || heads[place] != run.head) {
      return problem(run, "speaks of photographs that are not there");
    }
    before = run.chain;
    verification->num_runs = run.seq;
  }
}

}  // namespace

Result<Verification> Verify(const Store& store, const std::string& head) {
  Verification verification;
  std::vector<std::string> heads;
  if (auto error = VerifyRows(store, &heads, &verification)) return *error;
  verification.head = heads.back();
  const bool rows_are_whole = verification.problems.empty();
  const auto runs = store.Runs();
  if (!runs.ok()) return runs.error();
  if (rows_are_whole) VerifyRuns(*runs, heads, &verification);
  if (!head.empty() && rows_are_whole &&
      std::find(heads.begin(), heads.end(), head) == heads.end()) {
    verification.problems.push_back("the hash " + head + " is nowhere in the chain");
  }
  return verification;
}

}  // namespace endgrade::store
