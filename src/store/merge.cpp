#include "store/merge.h"

#include "store/chain.h"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>
#include <unistd.h>

namespace endgrade::store {
namespace fs = std::filesystem;
namespace {

// Where a row is, and what it is, without its record.
struct Place {
  std::string path;
  std::size_t part = 0;
  std::int64_t seq = 0;

  [[nodiscard]] bool operator<(const Place& other) const {
    return std::tie(path, part, seq) < std::tie(other.path, other.part, other.seq);
  }
};

// Everything but its place in a chain.
std::string ContentOf(Row row) {
  row.seq = 0;
  return ChainOf("", row);
}

std::optional<Error> CheckPart(const Store& store) {
  const auto verification = Verify(store);
  if (!verification.ok()) return verification.error();
  if (verification->problems.empty()) return std::nullopt;
  return Error{ErrorKind::kCorrupt,
               store.path().string(),
               0,
               "the store was edited after it was written: " + verification->problems.front(),
               "Run that part again"};
}

// The result alone, without when and from which file it was read.
std::string ResultOf(const Row& row) { return ChainOf("", {row.verdict, row.record}); }

// Rows that several parts have are kept once. One picture under one name with one grade key has one
// result; another one means that the parts were not graded alike.
Result<std::vector<Place>> Places(const std::vector<Store>& parts) {
  std::vector<Place> places;
  std::map<std::tuple<std::string, std::string, std::string>, std::string> known;
  std::set<std::string> contents;
  std::optional<Error> clash;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto error = parts[i].ForEach({}, RowParts::kAll, [&](const Row& row) {
      const auto key = std::tuple(row.path, row.grade_key, row.sha256);
      const std::string result = ResultOf(row);
      if (known.emplace(key, result).first->second == result) {
        if (contents.insert(ContentOf(row)).second) places.push_back({row.path, i, row.seq});
      } else {
        clash = Error{ErrorKind::kBadOption,
                      parts[i].path().string(),
                      0,
                      "holds another result for " + row.path + " than an earlier part does",
                      "Merge parts of one lot, of one state of its photographs"};
      }
      return !clash;
    });
    if (error) return *error;
    if (clash) return *clash;
  }
  std::sort(places.begin(), places.end());
  return places;
}

std::optional<Error> WriteMerged(Store& target,
                                 const std::vector<Store>& parts,
                                 const std::vector<Place>& places) {
  for (const Place& place : places) {
    auto row = parts[place.part].At(place.seq);
    if (!row.ok()) return row.error();
    if (auto error = target.Append(*std::move(row))) return error;
  }
  std::string event = "merged:";
  for (const Store& part : parts) event += " " + std::to_string(part.Count()) + "@" + part.Head();
  if (auto error = target.LogRun(event)) return error;
  return target.Finish();
}

void RemoveStore(const fs::path& path) {
  std::error_code ignored;
  for (const char* ending : {"", "-wal", "-shm", "-journal", ".lock"}) {
    fs::remove(path.string() + ending, ignored);
  }
}

}  // namespace

std::optional<Error> Merge(const fs::path& target, const std::vector<fs::path>& parts) {
  std::error_code ignored;
  if (fs::exists(fs::symlink_status(target, ignored))) {
    return Error{ErrorKind::kBadOption,
                 target.string(),
                 0,
                 "is there already",
                 "Name a store that is not there yet"};
  }
  std::vector<Store> stores;
  for (const fs::path& part : parts) {
    auto store = Store::OpenToRead(part);
    if (!store.ok()) return store.error();
    if (auto problem = CheckPart(*store)) return problem;
    stores.push_back(std::move(*store));
  }
  const auto places = Places(stores);
  if (!places.ok()) return places.error();
  const fs::path partial = target.string() + "." + std::to_string(getpid()) + ".partial";
  auto merged = Store::OpenToAppend(partial);
  std::optional<Error> problem;
  if (merged.ok()) {
    Store writer = std::move(*merged);
    problem = WriteMerged(writer, stores, *places);
  } else {
    problem = merged.error();
  }
  if (!problem) {
    std::error_code error;
    fs::rename(partial, target, error);
    if (error) {
      problem = Error{ErrorKind::kWriteFailed,
                      target.string(),
                      0,
                      "cannot be written: " + error.message(),
                      "Name a folder that you may write to"};
    }
  }
  RemoveStore(partial);
  return problem;
}

}  // namespace endgrade::store
