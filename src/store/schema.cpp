#include "store/schema.h"

#include <SQLiteCpp/Statement.h>
#include <SQLiteCpp/Transaction.h>
#include <array>
#include <string>

namespace endgrade::store {
namespace {

// Version 1: graded photographs. Rows are only ever added; the triggers refuse anything else, and
// what gets round them breaks the chain.
constexpr const char* kVersion1 = R"sql(
CREATE TABLE photograph (
  seq INTEGER PRIMARY KEY,
  path TEXT NOT NULL,
  kind TEXT NOT NULL, cord TEXT NOT NULL, "end" TEXT NOT NULL, port TEXT NOT NULL,
  rater TEXT NOT NULL, fibre INTEGER NOT NULL, attempt INTEGER NOT NULL,
  taken_at TEXT NOT NULL, taken_from TEXT NOT NULL,
  size_bytes INTEGER NOT NULL, modified_ns INTEGER NOT NULL,
  sha256 TEXT NOT NULL, limits_id TEXT NOT NULL, limits_sha256 TEXT NOT NULL,
  grade_key TEXT NOT NULL, program TEXT NOT NULL,
  verdict TEXT NOT NULL, marginal INTEGER NOT NULL,
  record TEXT NOT NULL, thumbnail BLOB NOT NULL, thumbnail_um REAL NOT NULL,
  chain TEXT NOT NULL
) STRICT;
CREATE INDEX photograph_path ON photograph (path, grade_key);
CREATE TRIGGER photograph_keeps_its_rows BEFORE DELETE ON photograph
BEGIN SELECT RAISE(ABORT, 'rows of a store are never deleted'); END;
CREATE TRIGGER photograph_keeps_its_values BEFORE UPDATE ON photograph
BEGIN SELECT RAISE(ABORT, 'rows of a store are never changed'); END;
)sql";

// Version 2: the log of runs, with a chain of its own, as it holds times and differs from run to
// run; each line also holds where the photographs' chain stood, so that rows cut off at the end
// show. And an index to find cords by.
constexpr const char* kVersion2 = R"sql(
CREATE TABLE run (
  seq INTEGER PRIMARY KEY,
  at TEXT NOT NULL, event TEXT NOT NULL,
  photographs INTEGER NOT NULL, head TEXT NOT NULL,
  chain TEXT NOT NULL
) STRICT;
CREATE TRIGGER run_keeps_its_rows BEFORE DELETE ON run
BEGIN SELECT RAISE(ABORT, 'rows of a store are never deleted'); END;
CREATE TRIGGER run_keeps_its_values BEFORE UPDATE ON run
BEGIN SELECT RAISE(ABORT, 'rows of a store are never changed'); END;
CREATE INDEX photograph_cord ON photograph (cord);
)sql";

constexpr std::array kVersions = {kVersion1, kVersion2};

int Pragma(SQLite::Database& database, const std::string& name) {
  return database.execAndGet("PRAGMA " + name).getInt();
}

bool IsEmpty(SQLite::Database& database) {
  return database.execAndGet("SELECT count(*) FROM sqlite_master").getInt() == 0;
}

Error Unfit(std::string what, std::string remedy) {
  return {ErrorKind::kUnsupported, "", 0, std::move(what), std::move(remedy)};
}

std::optional<Error> ForeignOrNewer(SQLite::Database& database) {
  if (Pragma(database, "application_id") != kApplicationId) {
    return Unfit("this is a database, but not a store of endgrade", "Check the name");
  }
  const int version = Pragma(database, "user_version");
  // A store has its first version from the transaction that makes it.
  if (version < 1) {
    return Unfit("the store says that it is of version " + std::to_string(version) +
                     ", which no endgrade wrote",
                 "Restore it from a backup; nothing was changed");
  }
  if (version > SchemaVersion()) {
    return Unfit("the store is of version " + std::to_string(version) +
                     "; this program knows versions up to " + std::to_string(SchemaVersion()),
                 "Use the newer endgrade that wrote it; nothing was changed");
  }
  return std::nullopt;
}

}  // namespace

int SchemaVersion() { return static_cast<int>(kVersions.size()); }

std::optional<Error> Migrate(SQLite::Database& database, int target) {
  if (target == 0) target = SchemaVersion();
  SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
  if (IsEmpty(database)) {
    database.exec("PRAGMA application_id = " + std::to_string(kApplicationId));
  } else if (auto problem = ForeignOrNewer(database)) {
    return problem;
  }
  for (int version = Pragma(database, "user_version"); version < target; ++version) {
    database.exec(kVersions[static_cast<std::size_t>(version)]);
    database.exec("PRAGMA user_version = " + std::to_string(version + 1));
  }
  transaction.commit();
  return std::nullopt;
}

std::optional<Error> VersionProblem(SQLite::Database& database) {
  if (IsEmpty(database)) return Unfit("there is nothing in this store", "Check the name");
  if (auto problem = ForeignOrNewer(database)) return problem;
  const int version = Pragma(database, "user_version");
  if (version < SchemaVersion()) {
    return Unfit("the store is of the older version " + std::to_string(version),
                 "Run endgrade lot on its lot once: that brings it up to date");
  }
  return std::nullopt;
}

}  // namespace endgrade::store
