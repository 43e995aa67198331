#include "cli/results_file.h"

#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>

#include <sstream>

namespace endgrade::cli {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

std::string TextOf(const fs::path& path) {
  std::ostringstream text;
  text << std::ifstream(path).rdbuf();
  return text.str();
}

TEST(ResultsFile, HasItsFinalNameOnlyWhenItIsWhole) {
  const TemporaryFolder folder;
  auto file = ResultsFile::Open(folder.path() / "new/out");
  ASSERT_TRUE(file.ok()) << file.error().Text();
  EXPECT_FALSE(file->AppendLine("{1}"));
  EXPECT_FALSE(file->AppendLine("{2}"));
  EXPECT_FALSE(fs::exists(file->final_path()));
  EXPECT_EQ(TextOf(file->partial_path()), "{1}\n{2}\n");
  EXPECT_FALSE(file->Finish());
  EXPECT_EQ(TextOf(file->final_path()), "{1}\n{2}\n");
  EXPECT_FALSE(fs::exists(file->partial_path()));
}

TEST(ResultsFile, LeavesOlderResultsAloneUntilThen) {
  const TemporaryFolder folder;
  folder.Write("results.ndjson", "old\n");
  folder.Write("results.ndjson.partial", "left behind by a run that was cut off\n");
  {
    auto file = ResultsFile::Open(folder.path());
    ASSERT_TRUE(file.ok());
    EXPECT_FALSE(file->AppendLine("new"));
  }
  EXPECT_EQ(TextOf(folder.path() / "results.ndjson"), "old\n");
  EXPECT_EQ(TextOf(folder.path() / "results.ndjson.partial"), "new\n");
}

TEST(ResultsFile, RefusesAFolderThatAnotherRunWritesTo) {
  const TemporaryFolder folder;
  auto first = ResultsFile::Open(folder.path());
  ASSERT_TRUE(first.ok());
  EXPECT_FALSE(first->AppendLine("first"));
  auto second = ResultsFile::Open(folder.path());
  ASSERT_FALSE(second.ok());
  EXPECT_THAT(second.error().Text(), HasSubstr("another run"));
  EXPECT_EQ(TextOf(first->partial_path()), "first\n");
}

TEST(ResultsFile, DoesNotWriteThroughALinkInItsPlace) {
  const TemporaryFolder folder;
  const fs::path precious = folder.Write("precious.jpg", "pixels");
  fs::create_directory(folder.path() / "out");
  fs::create_symlink(precious, folder.path() / "out/results.ndjson.partial");
  EXPECT_FALSE(ResultsFile::Open(folder.path() / "out").ok());
  EXPECT_EQ(TextOf(precious), "pixels");
}

TEST(ResultsFile, SaysWhereItCannotWrite) {
  const TemporaryFolder folder;
  const fs::path file = folder.Write("plain file");
  auto opened = ResultsFile::Open(file / "out");
  ASSERT_FALSE(opened.ok());
  EXPECT_EQ(opened.error().kind, ErrorKind::kWriteFailed);
  EXPECT_THAT(opened.error().Text(), HasSubstr("plain file"));
}

}  // namespace
}  // namespace endgrade::cli
