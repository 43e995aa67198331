// The tables of the store, and how an older store becomes one of today.
#pragma once

#include "endgrade/result.h"

#include <SQLiteCpp/Database.h>
#include <optional>

namespace endgrade::store {

// In PRAGMA user_version. A version that was released is never changed: a new one is added.
[[nodiscard]] int SchemaVersion();

// In PRAGMA application_id: "EGst".
inline constexpr int kApplicationId = 0x45477374;

// Brings the tables up to `target` version, the newest by default, in one transaction; an empty
// database becomes a store. Throws SQLite::Exception.
//
//   errors    kUnsupported for a database that is not a store, or of a newer version
[[nodiscard]] std::optional<Error> Migrate(SQLite::Database& database, int target = 0);

// The same errors, nothing changed; also for one that is older (kUnsupported: the next run of
// `endgrade lot` brings it up).
[[nodiscard]] std::optional<Error> VersionProblem(SQLite::Database& database);

}  // namespace endgrade::store
