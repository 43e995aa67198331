#include "endgrade/present.h"
#include "tests/support/temporary_folder.h"

#include <gtest/gtest.h>

#include <csignal>
#include <fstream>
#include <sstream>
#include <sys/resource.h>
#include <sys/stat.h>
#include <thread>
#include <unistd.h>
#include <vector>

namespace endgrade {
namespace {

namespace fs = std::filesystem;

std::string Contents(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::stringstream bytes;
  bytes << in.rdbuf();
  return bytes.str();
}

std::size_t CountFiles(const fs::path& folder) {
  return static_cast<std::size_t>(
      std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

// Files can grow to `bytes` and no further: a disk that fills up half-way.
class FileSizeLimit {
 public:
  explicit FileSizeLimit(rlim_t bytes) {
    getrlimit(RLIMIT_FSIZE, &before_);
    const rlimit limit{bytes, before_.rlim_max};
    setrlimit(RLIMIT_FSIZE, &limit);
    handler_ = std::signal(SIGXFSZ, SIG_IGN);
  }
  ~FileSizeLimit() {
    setrlimit(RLIMIT_FSIZE, &before_);
    (void)std::signal(SIGXFSZ, handler_);
  }
  FileSizeLimit(const FileSizeLimit&) = delete;
  FileSizeLimit& operator=(const FileSizeLimit&) = delete;

 private:
  rlimit before_{};
  void (*handler_)(int) = nullptr;
};

// Root may write anywhere; as `nobody` it may not.
class WithoutRoot {
 public:
  WithoutRoot() : was_root_(geteuid() == 0) {
    constexpr uid_t kNobody = 65534;
    if (was_root_ && seteuid(kNobody) != 0) ADD_FAILURE() << "cannot give up root";
  }
  ~WithoutRoot() {
    if (was_root_ && seteuid(0) != 0) ADD_FAILURE() << "cannot become root again";
  }
  WithoutRoot(const WithoutRoot&) = delete;
  WithoutRoot& operator=(const WithoutRoot&) = delete;

 private:
  bool was_root_;
};

TEST(WriteFileSafely, WritesEveryByteAndLeavesNothingElse) {
  const TemporaryFolder folder;
  const std::string bytes("a\0b\n\xff", 5);
  EXPECT_FALSE(WriteFileSafely(folder.path() / "a.bin", bytes));
  EXPECT_EQ(Contents(folder.path() / "a.bin"), bytes);
  EXPECT_FALSE(WriteFileSafely(folder.path() / "empty", ""));
  EXPECT_EQ(Contents(folder.path() / "empty"), "");
  EXPECT_EQ(CountFiles(folder.path()), 2U);
}

TEST(WriteFileSafely, TakesThePlaceOfAnOlderFile) {
  const TemporaryFolder folder;
  const auto file = folder.Write("a.txt", "a longer text than the new one");
  EXPECT_FALSE(WriteFileSafely(file, "new"));
  EXPECT_EQ(Contents(file), "new");
  EXPECT_EQ(CountFiles(folder.path()), 1U);
}

TEST(WriteFileSafely, LeavesTheOlderFileWhenTheDiskFillsUp) {
  const TemporaryFolder folder;
  const auto file = folder.Write("a.txt", "old");
  std::optional<Error> error;
  {
    const FileSizeLimit limit(1000);
    error = WriteFileSafely(file, std::string(5000, 'x'));
  }
  ASSERT_TRUE(error);
  EXPECT_EQ(error->kind, ErrorKind::kWriteFailed);
  EXPECT_EQ(error->file, file.string());
  EXPECT_NE(error->Text().find("room"), std::string::npos) << error->Text();
  EXPECT_EQ(Contents(file), "old");
  EXPECT_EQ(CountFiles(folder.path()), 1U);
}

TEST(WriteFileSafely, SaysSoWhereItMayNotWrite) {
  const TemporaryFolder folder;
  const fs::path closed = folder.path() / "closed";
  fs::create_directory(closed);
  fs::permissions(folder.path(), fs::perms::owner_all | fs::perms::others_exec);
  fs::permissions(closed, fs::perms::owner_read | fs::perms::owner_exec | fs::perms::others_exec);
  std::optional<Error> error;
  {
    const WithoutRoot without_root;
    error = WriteFileSafely(closed / "a.txt", "x");
  }
  ASSERT_TRUE(error);
  EXPECT_EQ(error->kind, ErrorKind::kWriteFailed);
  EXPECT_NE(error->Text().find("Permission denied"), std::string::npos) << error->Text();
  EXPECT_NE(error->Text().find("may write to"), std::string::npos) << error->Text();
}

TEST(WriteFileSafely, RefusesWhatIsNoFile) {
  const TemporaryFolder folder;
  fs::create_directory(folder.path() / "folder");
  const fs::path pipe = folder.path() / "pipe";
  ASSERT_EQ(mkfifo(pipe.c_str(), 0600), 0);
  for (const fs::path& path : {folder.path() / "folder",
                               folder.path() / "gone" / "a.txt",
                               folder.Write("file", "") / "a.txt",
                               folder.path() / "",
                               pipe,
                               fs::path("/dev/full"),
                               folder.path() / std::string(300, 'n')}) {
    const auto error = WriteFileSafely(path, "x");
    ASSERT_TRUE(error) << path;
    EXPECT_EQ(error->kind, ErrorKind::kWriteFailed);
    EXPECT_EQ(error->file, path.string());
    EXPECT_FALSE(error->remedy.empty());
  }
  EXPECT_TRUE(fs::is_fifo(pipe));
  EXPECT_TRUE(fs::is_character_file("/dev/full"));
  EXPECT_EQ(CountFiles(folder.path()), 3U);
}

TEST(WriteFileSafely, TakesTheLongestNameThatAFolderTakes) {
  const TemporaryFolder folder;
  const fs::path file = folder.path() / std::string(255, 'n');
  EXPECT_FALSE(WriteFileSafely(file, "x"));
  EXPECT_EQ(Contents(file), "x");
}

// A link into the inputs must not let an output change an input.
TEST(WriteFileSafely, ReplacesALinkAndNotWhatItPointsTo) {
  const TemporaryFolder folder;
  const auto input = folder.Write("input.png", "photograph");
  fs::create_symlink(input, folder.path() / "out.png");
  EXPECT_FALSE(WriteFileSafely(folder.path() / "out.png", "overlay"));
  EXPECT_EQ(Contents(input), "photograph");
  EXPECT_EQ(Contents(folder.path() / "out.png"), "overlay");
}

TEST(WriteFileSafely, ManyThreadsToOneNameLeaveOneWholeFile) {
  const TemporaryFolder folder;
  const fs::path file = folder.path() / "a";
  std::vector<std::thread> threads;
  for (char c = 'a'; c < 'i'; ++c) {
    threads.emplace_back([&file, c] { EXPECT_FALSE(WriteFileSafely(file, std::string(9999, c))); });
  }
  for (std::thread& thread : threads) thread.join();
  const std::string bytes = Contents(file);
  EXPECT_EQ(bytes.size(), 9999U);
  EXPECT_EQ(bytes, std::string(9999, bytes[0]));
  EXPECT_EQ(CountFiles(folder.path()), 1U);
}

}  // namespace
}  // namespace endgrade
