// What SQLite throws becomes an Error, in one place.
#pragma once

#include "endgrade/result.h"

#include <SQLiteCpp/Database.h>
#include <SQLiteCpp/Exception.h>
#include <filesystem>
#include <optional>

namespace endgrade::store {

inline constexpr int kBusyTimeout_ms = 10'000;

// The refusal in a person's words: full disk, locked, no database, read-only, ...
[[nodiscard]] Error DatabaseError(const std::filesystem::path& path, const SQLite::Exception& e);

// Runs `work`, which returns optional<Error>; an Error without a file gets the store's path.
template <typename Work>
[[nodiscard]] std::optional<Error> Guarded(const std::filesystem::path& path, const Work& work) {
  try {
    std::optional<Error> error = work();
    if (error && error->file.empty()) error->file = path.string();
    return error;
  } catch (const SQLite::Exception& e) {
    return DatabaseError(path, e);
  }
}

}  // namespace endgrade::store
