#include "store/merge.h"

#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <SQLiteCpp/SQLiteCpp.h>

namespace endgrade::store {
namespace {

namespace fs = std::filesystem;
using cli::TemporaryFolder;
using ::testing::HasSubstr;

Row Sample(const std::string& path, const std::string& verdict = "pass") {
  Row row;
  row.path = path;
  row.face.cord = path;
  row.sha256 = "of " + path;
  row.grade_key = "key";
  row.verdict = verdict;
  row.record = "{}";
  return row;
}

fs::path MakeStore(const fs::path& path, const std::vector<Row>& rows) {
  auto store = Store::OpenToAppend(path);
  EXPECT_TRUE(store.ok());
  for (const Row& row : rows) EXPECT_FALSE(store->Append(row));
  EXPECT_FALSE(store->Finish());
  return path;
}

TEST(Merge, GivesTheHeadOfOneRunOverAll) {
  const TemporaryFolder folder;
  const auto whole =
      MakeStore(folder.path() / "whole", {Sample("a"), Sample("b"), Sample("c"), Sample("d")});
  const auto one = MakeStore(folder.path() / "1", {Sample("b"), Sample("d")});
  const auto two = MakeStore(folder.path() / "2", {Sample("a"), Sample("c")});
  const fs::path merged = folder.path() / "merged";
  ASSERT_FALSE(Merge(merged, {one, two}));
  EXPECT_EQ(Store::OpenToRead(merged)->Head(), Store::OpenToRead(whole)->Head());
  EXPECT_TRUE(Verify(*Store::OpenToRead(merged))->problems.empty());
}

TEST(Merge, KeepsARowOfSeveralPartsOnce) {
  const TemporaryFolder folder;
  const auto one = MakeStore(folder.path() / "1", {Sample("a"), Sample("b")});
  const auto two = MakeStore(folder.path() / "2", {Sample("b")});
  ASSERT_FALSE(Merge(folder.path() / "merged", {one, two}));
  EXPECT_EQ(Store::OpenToRead(folder.path() / "merged")->Count(), 2);
}

TEST(Merge, RefusesTwoResultsForOnePicture) {
  const TemporaryFolder folder;
  const auto one = MakeStore(folder.path() / "1", {Sample("a", "pass")});
  const auto two = MakeStore(folder.path() / "2", {Sample("a", "fail")});
  const auto error = Merge(folder.path() / "merged", {one, two});
  ASSERT_TRUE(error);
  EXPECT_THAT(error->Text(), HasSubstr("another result for a"));
  EXPECT_FALSE(fs::exists(folder.path() / "merged"));
}

TEST(Merge, RefusesAnEditedPartAndAnExistingTarget) {
  const TemporaryFolder folder;
  const auto one = MakeStore(folder.path() / "1", {Sample("a")});
  EXPECT_THAT(Merge(one, {one})->Text(), HasSubstr("is there already"));
  {
    SQLite::Database database(one, SQLite::OPEN_READWRITE);
    database.exec("DROP TRIGGER photograph_keeps_its_values; UPDATE photograph SET verdict = ''");
  }
  EXPECT_THAT(Merge(folder.path() / "merged", {one})->Text(), HasSubstr("edited"));
  std::size_t files = 0;
  for ([[maybe_unused]] const auto& file : fs::directory_iterator(folder.path())) ++files;
  EXPECT_EQ(files, 2u) << "the part and its lock; nothing half-made stays";
}

}  // namespace
}  // namespace endgrade::store
