#include "store/store.h"

#include "store/chain.h"
#include "store/schema.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <SQLiteCpp/SQLiteCpp.h>

namespace endgrade::store {
namespace {

namespace fs = std::filesystem;
using cli::TemporaryFolder;
using ::testing::HasSubstr;

Row Sample(const std::string& cord, const std::string& verdict = "pass") {
  Row row;
  row.path = cord + "-A.jpg";
  row.face.cord = cord;
  row.face.end = "A";
  row.taken_at = "2026-11-25T10:11:12";
  row.taken_from = "file";
  row.sha256 = std::string(64, 'a');
  row.limits_id = "sm-upc";
  row.grade_key = "key";
  row.verdict = verdict;
  row.record = R"({"schema":"endgrade.result/1"})";
  row.thumbnail = std::string("\xFF\xD8\0\x01", 4);
  row.thumbnail_um = 270;
  return row;
}

fs::path MakeStore(const TemporaryFolder& folder, const std::vector<std::string>& cords) {
  const fs::path path = folder.path() / "lot.sqlite";
  auto store = Store::OpenToAppend(path);
  EXPECT_TRUE(store.ok());
  for (const std::string& cord : cords) EXPECT_FALSE(store->Append(Sample(cord)));
  EXPECT_FALSE(store->LogRun("ended"));
  EXPECT_FALSE(store->Finish());
  return path;
}

// What somebody with a database tool could do.
void Edit(const fs::path& path, const std::string& statements) {
  SQLite::Database database(path, SQLite::OPEN_READWRITE);
  database.exec("DROP TRIGGER IF EXISTS photograph_keeps_its_rows");
  database.exec("DROP TRIGGER IF EXISTS photograph_keeps_its_values");
  database.exec("DROP TRIGGER IF EXISTS run_keeps_its_rows");
  database.exec(statements);
}

std::string FirstProblem(const fs::path& path) {
  const auto store = Store::OpenToRead(path);
  if (!store.ok()) return store.error().Text();
  const auto verification = Verify(*store);
  if (!verification.ok()) return verification.error().Text();
  return verification->problems.empty() ? "" : verification->problems.front();
}

TEST(Store, GivesBackWhatWasAppended) {
  const TemporaryFolder folder;
  const auto store = Store::OpenToRead(MakeStore(folder, {"c1", "c2"}));
  ASSERT_TRUE(store.ok());
  EXPECT_EQ(store->Count(), 2);
  const auto row = store->At(2);
  ASSERT_TRUE(row.ok());
  EXPECT_EQ(row->face.cord, "c2");
  EXPECT_EQ(row->thumbnail, Sample("c2").thumbnail);
  EXPECT_EQ(row->record, Sample("c2").record);
  EXPECT_EQ(row->chain, store->Head());
  EXPECT_EQ(FirstProblem(store->path()), "");
}

TEST(Store, HasTheSameHeadHoweverOftenItWasClosed) {
  const TemporaryFolder one;
  const TemporaryFolder two;
  const fs::path whole = MakeStore(one, {"c1", "c2", "c3"});
  MakeStore(two, {"c1"});
  MakeStore(two, {"c2"});
  const fs::path pieces = MakeStore(two, {"c3"});
  EXPECT_EQ(Store::OpenToRead(whole)->Head(), Store::OpenToRead(pieces)->Head());
}

TEST(Store, KeepsWhatWasAppendedWithoutAnEnd) {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "lot.sqlite";
  {
    auto store = Store::OpenToAppend(path);
    ASSERT_TRUE(store.ok());
    ASSERT_FALSE(store->Append(Sample("c1")));
  }
  EXPECT_EQ(Store::OpenToRead(path)->Count(), 1);
}

TEST(Store, RefusesChangesOfItsRows) {
  const TemporaryFolder folder;
  SQLite::Database database(MakeStore(folder, {"c1"}), SQLite::OPEN_READWRITE);
  EXPECT_THROW(database.exec("UPDATE photograph SET verdict = 'pass'"), SQLite::Exception);
  EXPECT_THROW(database.exec("DELETE FROM photograph"), SQLite::Exception);
  EXPECT_THROW(database.exec("DELETE FROM run"), SQLite::Exception);
}

TEST(Verify, FindsAnEditOfAnyColumn) {
  for (const char* change : {"verdict = 'fail'",
                             "record = '{}'",
                             "sha256 = ''",
                             "cord = 'c9'",
                             "attempt = 2",
                             "taken_at = '2020-01-01'",
                             "thumbnail = x'00'",
                             "thumbnail_um = 1.0",
                             "marginal = 1",
                             "limits_sha256 = 'x'",
                             "program = 'x'",
                             "modified_ns = 1"}) {
    const TemporaryFolder folder;
    const fs::path path = MakeStore(folder, {"c1", "c2"});
    Edit(path, "UPDATE photograph SET " + std::string(change) + " WHERE seq = 1");
    EXPECT_THAT(FirstProblem(path), HasSubstr("row 1")) << change;
  }
}

TEST(Verify, FindsRowsThatWereTakenOut) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1", "c2", "c3"});
  Edit(path, "DELETE FROM photograph WHERE seq = 2");
  EXPECT_THAT(FirstProblem(path), HasSubstr("row 2 is missing"));
}

TEST(Verify, FindsRowsThatWereCutOffAtTheEnd) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1", "c2", "c3"});
  Edit(path, "DELETE FROM photograph WHERE seq = 3");
  EXPECT_THAT(FirstProblem(path), HasSubstr("photographs that are not there"));
}

TEST(Verify, FindsAnEditedLogOfRuns) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1"});
  {
    SQLite::Database database(path, SQLite::OPEN_READWRITE);
    database.exec("DROP TRIGGER run_keeps_its_values; UPDATE run SET at = '2020-01-01T00:00:00Z'");
  }
  EXPECT_THAT(FirstProblem(path), HasSubstr("log of runs"));
}

TEST(Verify, KnowsAHeadOfAnEarlierDay) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1"});
  const std::string head = Store::OpenToRead(path)->Head();
  MakeStore(folder, {"c2"});
  EXPECT_TRUE(Verify(*Store::OpenToRead(path), head)->problems.empty());
  EXPECT_FALSE(Verify(*Store::OpenToRead(path), std::string(64, '0'))->problems.empty());
}

TEST(Store, IsNotAppendedToOnceItWasEdited) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1"});
  Edit(path, "UPDATE photograph SET verdict = 'fail'");
  const auto store = Store::OpenToAppend(path);
  ASSERT_FALSE(store.ok());
  EXPECT_EQ(store.error().kind, ErrorKind::kCorrupt);
  EXPECT_THAT(store.error().Text(), HasSubstr("edited"));
}

TEST(Store, HasOneWriterAtATime) {
  const TemporaryFolder folder;
  auto first = Store::OpenToAppend(folder.path() / "lot.sqlite");
  ASSERT_TRUE(first.ok());
  const auto second = Store::OpenToAppend(folder.path() / "lot.sqlite");
  ASSERT_FALSE(second.ok());
  EXPECT_THAT(second.error().Text(), HasSubstr("another run"));
}

TEST(Store, CanBeReadWhileItIsWritten) {
  const TemporaryFolder folder;
  auto writer = Store::OpenToAppend(folder.path() / "lot.sqlite");
  ASSERT_TRUE(writer.ok());
  ASSERT_FALSE(writer->Append(Sample("c1")));
  const auto reader = Store::OpenToRead(folder.path() / "lot.sqlite");
  ASSERT_TRUE(reader.ok());
  EXPECT_EQ(reader->Count(), 1);
}

TEST(Store, RefusesAStoreOfANewerVersion) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1"});
  Edit(path, "PRAGMA user_version = 999");
  for (const auto& text :
       {Store::OpenToRead(path).error().Text(), Store::OpenToAppend(path).error().Text()}) {
    EXPECT_THAT(text, HasSubstr("version 999"));
    EXPECT_THAT(text, HasSubstr(path.string()));
  }
}

TEST(Store, RefusesAVersionThatNeverWas) {
  const TemporaryFolder folder;
  const fs::path path = MakeStore(folder, {"c1"});
  for (const char* version : {"-7", "0"}) {
    Edit(path, std::string("PRAGMA user_version = ") + version);
    for (const auto& text :
         {Store::OpenToRead(path).error().Text(), Store::OpenToAppend(path).error().Text()}) {
      EXPECT_THAT(text, HasSubstr("of version " + std::string(version)));
    }
  }
}

TEST(Store, RefusesWhatIsNoStore) {
  const TemporaryFolder folder;
  const fs::path text = folder.Write("text.sqlite", "this is no database, but it is long enough");
  EXPECT_EQ(Store::OpenToRead(text).error().kind, ErrorKind::kCorrupt);
  EXPECT_EQ(Store::OpenToRead(folder.path() / "none").error().kind, ErrorKind::kNotFound);
  const fs::path other = folder.path() / "other.sqlite";
  SQLite::Database(other, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE).exec("CREATE TABLE t (x)");
  EXPECT_THAT(Store::OpenToAppend(other).error().Text(), HasSubstr("not a store"));
}

// A store as version 1 had it, with a row, becomes one of today and loses nothing.
TEST(Migrate, BringsAnOlderStoreUp) {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "old.sqlite";
  Row row = Sample("c1");
  row.seq = 1;
  row.chain = ChainOf(ChainStart(), row);
  {
    SQLite::Database database(path, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    ASSERT_FALSE(Migrate(database, 1));
    EXPECT_FALSE(database.tableExists("run"));
    SQLite::Statement insert(database,
                             "INSERT INTO photograph VALUES (1, ?, '', 'c1', 'A', '', '', 1, 1, ?, "
                             "'file', 0, 0, ?, 'sm-upc', '', 'key', '', 'pass', 0, ?, ?, 270, ?)");
    insert.bind(1, row.path);
    insert.bind(2, row.taken_at);
    insert.bind(3, row.sha256);
    insert.bind(4, row.record);
    insert.bind(5, row.thumbnail.data(), static_cast<int>(row.thumbnail.size()));
    insert.bind(6, row.chain);
    insert.exec();
  }
  EXPECT_THAT(Store::OpenToRead(path).error().Text(), HasSubstr("older version 1"));
  {
    auto store = Store::OpenToAppend(path);
    ASSERT_TRUE(store.ok()) << store.error().Text();
    EXPECT_FALSE(store->Append(Sample("c2")));
    EXPECT_FALSE(store->LogRun("ended"));
  }
  EXPECT_EQ(Store::OpenToRead(path)->Count(), 2);
  EXPECT_EQ(FirstProblem(path), "");
}

TEST(ForEach, FiltersByCordPortDayAndVerdict) {
  const TemporaryFolder folder;
  auto store = Store::OpenToAppend(folder.path() / "lot.sqlite");
  ASSERT_TRUE(store.ok());
  Row later = Sample("c2", "fail");
  later.taken_at = "2026-11-26T00:00:00";
  later.face.port = "7";
  ASSERT_FALSE(store->Append(Sample("c1")));
  ASSERT_FALSE(store->Append(later));
  const auto found = [&](const Filter& filter) {
    std::string cords;
    EXPECT_FALSE(store->ForEach(filter, RowParts::kNoRecord, [&](const Row& row) {
      EXPECT_TRUE(row.record.empty() && row.thumbnail.empty());
      cords += row.face.cord + " ";
      return true;
    }));
    return cords;
  };
  EXPECT_EQ(found({}), "c1 c2 ");
  EXPECT_EQ(found({"c2", "", "", "", ""}), "c2 ");
  EXPECT_EQ(found({"", "7", "", "", ""}), "c2 ");
  EXPECT_EQ(found({"", "", "pass", "", ""}), "c1 ");
  EXPECT_EQ(found({"", "", "", "2026-11-26", ""}), "c2 ");
  EXPECT_EQ(found({"", "", "", "", "2026-11-25"}), "c1 ");
  EXPECT_EQ(found({"", "", "", "2026-11-25", "2026-11-26"}), "c1 c2 ");
  EXPECT_EQ(found({"' OR 1 --", "", "", "", ""}), "");
}

}  // namespace
}  // namespace endgrade::store
