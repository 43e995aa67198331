// The lot's memory: an SQLite database to which rows are only ever added.
#pragma once

#include "endgrade/result.h"
#include "store/row.h"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace endgrade::store {

// Which rows to look at; what is empty matches all.
struct Filter {
  std::string cord;
  std::string port;
  std::string verdict;
  std::string from;   // taken_at >= from: "2026-11-25" or "2026-11-25T10:00"
  std::string until;  // taken_at of that day or minute, or before
};

// What tells a photograph that is in the store already, without reading the file.
struct Seen {
  std::string path;
  std::string grade_key;
  std::int64_t size_bytes = 0;
  std::int64_t modified_ns = 0;
  [[nodiscard]] auto operator<=>(const Seen&) const = default;
};

struct RunEntry {
  std::int64_t seq = 0;
  std::string at;     // when, UTC
  std::string event;  // "started: ...", "ended: ...", "merged: ..."
  std::int64_t photographs = 0;
  std::string head;
  std::string chain;
};

enum class RowParts { kAll, kNoThumbnail, kNoRecord };  // kNoRecord: no thumbnail either

// All calls on one thread. Errors carry the store's path. A row is on its way to the disk when
// Append returns: `kill -9` loses nothing of it.
class Store {
 public:
  // Makes the store where there is none, migrates an older one, and checks the chain. Errors:
  // kWriteFailed (also when another run has it open for writing), kUnsupported, kCorrupt when it is
  // no database or was edited by hand.
  [[nodiscard]] static Result<Store> OpenToAppend(const std::filesystem::path& path);
  // Errors: kNotFound, kUnsupported, kCorrupt. The chain is not checked; see Verify.
  [[nodiscard]] static Result<Store> OpenToRead(const std::filesystem::path& path);

  Store(Store&&) noexcept;
  Store& operator=(Store&&) noexcept;
  ~Store();

  // Fills in seq and chain. Errors: kWriteFailed, and the store is as it was.
  [[nodiscard]] std::optional<Error> Append(Row row);
  [[nodiscard]] std::optional<Error> LogRun(const std::string& event);
  // After the last Append: one plain file, flushed to the disk.
  [[nodiscard]] std::optional<Error> Finish();

  [[nodiscard]] Result<std::set<Seen>> EverythingSeen() const;
  // Of those, the ones whose bytes were never had (no digest), with the newest record of each: what
  // failed then, a disk, a permission, want of memory, may work now.
  [[nodiscard]] Result<std::map<Seen, std::string>> NeverRead() const;
  // In order of seq; `take` returns false to stop. One row is in memory at a time.
  [[nodiscard]] std::optional<Error> ForEach(const Filter& filter,
                                             RowParts parts,
                                             const std::function<bool(const Row&)>& take) const;
  [[nodiscard]] Result<Row> At(std::int64_t seq) const;
  [[nodiscard]] Result<std::vector<RunEntry>> Runs() const;

  [[nodiscard]] std::int64_t Count() const;
  [[nodiscard]] const std::string& Head() const;  // chain of the last row
  [[nodiscard]] const std::filesystem::path& path() const;

 private:
  struct State;
  explicit Store(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

struct Verification {
  std::int64_t num_photographs = 0;
  std::int64_t num_runs = 0;
  std::string head;
  std::vector<std::string> problems;  // in words; empty: nothing was edited
};

// Goes through both chains from the start.
//
//   head      that of an earlier day, from a report: must be somewhere in the chain; empty: any
[[nodiscard]] Result<Verification> Verify(const Store& store, const std::string& head = "");

}  // namespace endgrade::store
