#include "store/store.h"

#include "store/chain.h"
#include "store/database.h"
#include "store/schema.h"
#include "store/writer_lock.h"

#include <SQLiteCpp/Statement.h>
#include <SQLiteCpp/Transaction.h>
#include <chrono>
#include <ctime>

namespace endgrade::store {
namespace fs = std::filesystem;
namespace {

constexpr const char* kColumns =
    R"(seq, path, kind, cord, "end", port, rater, fibre, attempt, taken_at, taken_from, size_bytes,
    modified_ns, sha256, limits_id, limits_sha256, grade_key, program, verdict, marginal, record,
    thumbnail, thumbnail_um, chain)";

std::string NowUtc() {
  const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm parts{};
  gmtime_r(&now, &parts);
  char text[32];
  std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &parts);
  return text;
}

void Bind(SQLite::Statement& insert, const Row& row) {
  int i = 0;
  insert.bind(++i, row.seq);
  const Face& face = row.face;
  for (const auto* text : {&row.path, &face.kind, &face.cord, &face.end, &face.port, &face.rater}) {
    insert.bind(++i, *text);
  }
  insert.bind(++i, face.fibre);
  insert.bind(++i, face.attempt);
  insert.bind(++i, row.taken_at);
  insert.bind(++i, row.taken_from);
  insert.bind(++i, row.size_bytes);
  insert.bind(++i, row.modified_ns);
  for (const auto* text : {&row.sha256,
                           &row.limits_id,
                           &row.limits_sha256,
                           &row.grade_key,
                           &row.program,
                           &row.verdict}) {
    insert.bind(++i, *text);
  }
  insert.bind(++i, row.marginal ? 1 : 0);
  insert.bindNoCopy(++i, row.record);
  insert.bindNoCopy(++i, row.thumbnail.data(), static_cast<int>(row.thumbnail.size()));
  insert.bind(++i, row.thumbnail_um);
  insert.bind(++i, row.chain);
}

std::string Bytes(const SQLite::Column& column) { return column.getString(); }

Row RowOf(SQLite::Statement& query) {
  int i = 0;
  const auto text = [&] { return Bytes(query.getColumn(i++)); };
  const auto whole = [&] { return query.getColumn(i++).getInt64(); };
  Row row;
  row.seq = whole();
  row.path = text();
  row.face.kind = text();
  row.face.cord = text();
  row.face.end = text();
  row.face.port = text();
  row.face.rater = text();
  row.face.fibre = static_cast<int>(whole());
  row.face.attempt = static_cast<int>(whole());
  row.taken_at = text();
  row.taken_from = text();
  row.size_bytes = whole();
  row.modified_ns = whole();
  row.sha256 = text();
  row.limits_id = text();
  row.limits_sha256 = text();
  row.grade_key = text();
  row.program = text();
  row.verdict = text();
  row.marginal = whole() != 0;
  row.record = text();
  row.thumbnail = text();
  row.thumbnail_um = query.getColumn(i++).getDouble();
  row.chain = text();
  return row;
}

std::string ColumnsOf(RowParts parts) {
  std::string columns = kColumns;
  const auto leave_out = [&](const std::string& name, const std::string& instead) {
    columns.replace(columns.find(name + ","), name.size(), instead);
  };
  if (parts == RowParts::kNoRecord) leave_out("record", "''");
  if (parts != RowParts::kAll) leave_out("thumbnail", "x''");
  return columns;
}

// Text parameters only; nothing of the filter is ever part of the statement itself.
std::string Conditions(const Filter& filter, std::vector<std::string>* values) {
  std::string text = " WHERE 1";
  const auto add = [&](const std::string& value, const char* condition) {
    if (value.empty()) return;
    text += condition;
    values->push_back(value);
  };
  add(filter.cord, " AND cord = ?");
  add(filter.port, " AND port = ?");
  add(filter.verdict, " AND verdict = ?");
  add(filter.from, " AND taken_at >= ?");
  // A day or minute as a whole: what starts with it is not after it.
  add(filter.until, " AND substr(taken_at, 1, length(?)) <= ");
  if (!filter.until.empty()) {
    text += "?";
    values->push_back(filter.until);
  }
  return text;
}

}  // namespace

struct Store::State {
  fs::path path;
  std::optional<WriterLock> lock;  // let go after the database is closed
  std::unique_ptr<SQLite::Database> database;
  std::unique_ptr<SQLite::Statement> insert;
  std::int64_t count = 0;
  std::string head;

  // Where the chain ends now.
  void FindHead() {
    SQLite::Statement last(*database,
                           "SELECT seq, chain FROM photograph ORDER BY seq DESC LIMIT 1");
    head = ChainStart();
    if (!last.executeStep()) return;
    count = last.getColumn(0).getInt64();
    head = last.getColumn(1).getString();
  }
};

Store::Store(std::unique_ptr<State> state) : state_(std::move(state)) {}
Store::Store(Store&&) noexcept = default;
Store& Store::operator=(Store&&) noexcept = default;
Store::~Store() {
  if (!state_) return;
  state_->insert.reset();
  state_->database.reset();
}

Result<Store> Store::OpenToAppend(const fs::path& path) {
  auto lock = WriterLock::Take(path);
  if (!lock.ok()) return lock.error();
  auto state = std::make_unique<State>();
  state->path = path;
  state->lock.emplace(std::move(*lock));
  const auto problem = Guarded(path, [&]() -> std::optional<Error> {
    state->database =
        std::make_unique<SQLite::Database>(path, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    state->database->setBusyTimeout(kBusyTimeout_ms);
    // With a write-ahead log a killed run loses nothing that was appended; the disk is waited for
    // at checkpoints and at the end, not at every row.
    if (auto refused = Migrate(*state->database)) return refused;
    state->database->exec("PRAGMA journal_mode = WAL");
    state->database->exec("PRAGMA synchronous = NORMAL");
    state->FindHead();
    state->insert = std::make_unique<SQLite::Statement>(
        *state->database,
        "INSERT INTO photograph (" + std::string(kColumns) +
            ") VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)");
    return std::nullopt;
  });
  if (problem) return *problem;
  Store store(std::move(state));
  const auto verified = Verify(store);
  if (!verified.ok()) return verified.error();
  if (!verified->problems.empty()) {
    return Error{ErrorKind::kCorrupt,
                 path.string(),
                 0,
                 "the store was edited after it was written: " + verified->problems.front(),
                 "Keep it as evidence, and start anew under another name"};
  }
  return store;
}

namespace {

// What a killed run has left half-done, SQLite takes back when the store is next opened; but not
// when it is opened only to be read. False where that cannot be done or there is nothing to do.
bool BringToRest(const fs::path& path) {
  std::error_code ignored;
  const bool left = fs::exists(path.string() + "-journal", ignored) ||
                    fs::exists(path.string() + "-wal", ignored);
  if (!left) return false;
  return !Guarded(path, [&]() -> std::optional<Error> {
    SQLite::Database database(path, SQLite::OPEN_READWRITE);
    database.setBusyTimeout(kBusyTimeout_ms);
    SQLite::Statement(database, "SELECT count(*) FROM sqlite_schema").executeStep();
    return std::nullopt;
  });
}

}  // namespace

Result<Store> Store::OpenToRead(const fs::path& path) {
  std::error_code ignored;
  if (!fs::is_regular_file(path, ignored)) {
    return Error{
        ErrorKind::kNotFound, path.string(), 0, "there is no store of this name", "Check the name"};
  }
  auto state = std::make_unique<State>();
  state->path = path;
  const auto open = [&] {
    return Guarded(path, [&]() -> std::optional<Error> {
      state->database = std::make_unique<SQLite::Database>(path, SQLite::OPEN_READONLY);
      state->database->setBusyTimeout(kBusyTimeout_ms);
      if (auto refused = VersionProblem(*state->database)) return refused;
      state->FindHead();
      return std::nullopt;
    });
  };
  auto problem = open();
  if (problem && BringToRest(path)) problem = open();
  if (problem) return *problem;
  return Store(std::move(state));
}

std::optional<Error> Store::Append(Row row) {
  row.seq = state_->count + 1;
  row.chain = ChainOf(state_->head, row);
  auto problem = Guarded(state_->path, [&]() -> std::optional<Error> {
    state_->insert->reset();
    Bind(*state_->insert, row);
    state_->insert->exec();
    state_->insert->reset();
    state_->insert->clearBindings();
    return std::nullopt;
  });
  if (problem) return problem;
  state_->count = row.seq;
  state_->head = row.chain;
  return std::nullopt;
}

std::optional<Error> Store::LogRun(const std::string& event) {
  return Guarded(state_->path, [&]() -> std::optional<Error> {
    SQLite::Statement last(*state_->database,
                           "SELECT seq, chain FROM run ORDER BY seq DESC LIMIT 1");
    const bool any = last.executeStep();
    const std::int64_t seq = any ? last.getColumn(0).getInt64() + 1 : 1;
    const std::string before = any ? last.getColumn(1).getString() : ChainStart();
    last.reset();
    const std::string at = NowUtc();
    SQLite::Statement insert(*state_->database, "INSERT INTO run VALUES (?,?,?,?,?,?)");
    insert.bind(1, seq);
    insert.bind(2, at);
    insert.bind(3, event);
    insert.bind(4, state_->count);
    insert.bind(5, state_->head);
    insert.bind(
        6,
        ChainOf(before,
                {std::to_string(seq), at, event, std::to_string(state_->count), state_->head}));
    insert.exec();
    return std::nullopt;
  });
}

std::optional<Error> Store::Finish() {
  return Guarded(state_->path, [&]() -> std::optional<Error> {
    state_->insert.reset();
    state_->database->exec("PRAGMA synchronous = FULL");
    state_->database->exec("PRAGMA wal_checkpoint(TRUNCATE)");
    // A reader that has it open keeps the log in use: the store is whole all the same.
    try {
      state_->database->exec("PRAGMA journal_mode = DELETE");
    } catch (const SQLite::Exception&) {
    }
    return std::nullopt;
  });
}

Result<std::set<Seen>> Store::EverythingSeen() const {
  std::set<Seen> seen;
  const auto problem = Guarded(state_->path, [&]() -> std::optional<Error> {
    SQLite::Statement query(*state_->database,
                            "SELECT path, grade_key, size_bytes, modified_ns FROM photograph");
    while (query.executeStep()) {
      seen.insert({Bytes(query.getColumn(0)),
                   Bytes(query.getColumn(1)),
                   query.getColumn(2).getInt64(),
                   query.getColumn(3).getInt64()});
    }
    return std::nullopt;
  });
  if (problem) return *problem;
  return seen;
}

Result<std::map<Seen, std::string>> Store::NeverRead() const {
  std::map<Seen, std::string> unread;
  const auto problem = Guarded(state_->path, [&]() -> std::optional<Error> {
    SQLite::Statement query(*state_->database,
                            "SELECT path, grade_key, size_bytes, modified_ns, sha256, record"
                            " FROM photograph ORDER BY seq");
    while (query.executeStep()) {
      const Seen seen{Bytes(query.getColumn(0)),
                      Bytes(query.getColumn(1)),
                      query.getColumn(2).getInt64(),
                      query.getColumn(3).getInt64()};
      if (Bytes(query.getColumn(4)).empty()) {
        unread[seen] = Bytes(query.getColumn(5));
      } else {
        unread.erase(seen);
      }
    }
    return std::nullopt;
  });
  if (problem) return *problem;
  return unread;
}

std::optional<Error> Store::ForEach(const Filter& filter,
                                    RowParts parts,
                                    const std::function<bool(const Row&)>& take) const {
  return Guarded(state_->path, [&]() -> std::optional<Error> {
    std::vector<std::string> values;
    SQLite::Statement query(*state_->database,
                            "SELECT " + ColumnsOf(parts) + " FROM photograph" +
                                Conditions(filter, &values) + " ORDER BY seq");
    for (std::size_t i = 0; i < values.size(); ++i) query.bind(static_cast<int>(i) + 1, values[i]);
    while (query.executeStep() && take(RowOf(query))) {
    }
    return std::nullopt;
  });
}

Result<Row> Store::At(std::int64_t seq) const {
  std::optional<Row> row;
  auto problem = Guarded(state_->path, [&]() -> std::optional<Error> {
    SQLite::Statement query(*state_->database,
                            "SELECT " + std::string(kColumns) + " FROM photograph WHERE seq = ?");
    query.bind(1, seq);
    if (query.executeStep()) row = RowOf(query);
    return std::nullopt;
  });
  if (problem) return *problem;
  if (!row) {
    return Error{ErrorKind::kNotFound,
                 state_->path.string(),
                 0,
                 "there is no row " + std::to_string(seq),
                 "Check the number"};
  }
  return *std::move(row);
}

Result<std::vector<RunEntry>> Store::Runs() const {
  std::vector<RunEntry> runs;
  const auto problem = Guarded(state_->path, [&]() -> std::optional<Error> {
    SQLite::Statement query(
        *state_->database, "SELECT seq, at, event, photographs, head, chain FROM run ORDER BY seq");
    while (query.executeStep()) {
      runs.push_back({query.getColumn(0).getInt64(),
                      Bytes(query.getColumn(1)),
                      Bytes(query.getColumn(2)),
                      query.getColumn(3).getInt64(),
                      Bytes(query.getColumn(4)),
                      Bytes(query.getColumn(5))});
    }
    return std::nullopt;
  });
  if (problem) return *problem;
  return runs;
}

std::int64_t Store::Count() const { return state_->count; }
const std::string& Store::Head() const { return state_->head; }
const fs::path& Store::path() const { return state_->path; }

}  // namespace endgrade::store
