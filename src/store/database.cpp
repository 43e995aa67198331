#include "store/database.h"

#include <sqlite3.h>

namespace endgrade::store {

Error DatabaseError(const std::filesystem::path& path, const SQLite::Exception& e) {
  const auto error = [&](ErrorKind kind, std::string what, std::string remedy) {
    return Error{kind, path.string(), 0, std::move(what), std::move(remedy)};
  };
  switch (e.getErrorCode()) {
    case SQLITE_FULL:
      return error(ErrorKind::kWriteFailed,
                   "the disk is full; what is in the store already is safe",
                   "Free some space and run it again: it goes on where it was");
    case SQLITE_IOERR:
      return error(ErrorKind::kWriteFailed,
                   "the disk refuses to read or write; what is in the store already is safe",
                   "Check the disk and its free space, and run it again: it goes on where it was");
    case SQLITE_NOTADB:
    case SQLITE_CORRUPT:
      return error(ErrorKind::kCorrupt,
                   "this is no store, or a damaged one",
                   "Check the name, or bring back a copy");
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return error(
          ErrorKind::kWriteFailed, "another program is writing to the store", "Wait for it to end");
    case SQLITE_CANTOPEN:
    case SQLITE_READONLY:
    case SQLITE_PERM:
      return error(ErrorKind::kWriteFailed,
                   "the store cannot be opened",
                   "Check its permissions, and those of its folder");
    default:
      return error(ErrorKind::kInternal,
                   "the database refused: " + std::string(e.what()),
                   "Please report this");
  }
}

}  // namespace endgrade::store
