// What stands behind a name: files, and all that is none.
#include "endgrade/read.h"
#include "tests/read/png_writer.h"
#include "tests/read/reference_tools.h"

#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <fcntl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <thread>
#include <unistd.h>

namespace endgrade {
namespace {

namespace fs = std::filesystem;

std::string SmallPng() { return RandomPng({12, 7, 8, PNG_COLOR_TYPE_GRAY, false, false}); }

Error ErrorOf(const fs::path& path, const ReadOptions& options = {}) {
  auto frame = ReadFrame(path, options);
  if (frame.ok()) {
    ADD_FAILURE() << path << " was read";
    return {};
  }
  return frame.error();
}

TEST(ReadFrame, GivesPathDigestAndPixels) {
  const TemporaryFolder folder;
  const auto file = folder.Write("a.png", SmallPng());
  const auto frame = ReadFrame(file);
  ASSERT_TRUE(frame.ok());
  EXPECT_EQ(frame->path, file);
  EXPECT_EQ(frame->sha256, OutputOf("sha256sum " + file.string()).substr(0, 64));
  EXPECT_EQ(frame->luma.size(), cv::Size(12, 7));
}

TEST(ReadFrame, GoesByContentNotByName) {
  const TemporaryFolder folder;
  const std::string jpeg = Piped("cjpeg", PnmFrom(TestPicture(9, 5, 1)));
  for (const char* name : {"a.png", "a.tif", "a.txt", "a", ".jpg", "a\nb.bmp", "ä.jpg"}) {
    const auto frame = ReadFrame(folder.Write(name, jpeg));
    ASSERT_TRUE(frame.ok()) << name;
    EXPECT_EQ(frame->luma.size(), cv::Size(9, 5));
  }
  EXPECT_TRUE(ReadFrame(folder.Write("b.jpg", SmallPng())).ok());
}

TEST(ReadFrame, FollowsALinkToAFile) {
  const TemporaryFolder folder;
  fs::create_symlink(folder.Write("a.png", SmallPng()), folder.path() / "link");
  EXPECT_TRUE(ReadFrame(folder.path() / "link").ok());
}

TEST(ReadFrame, SaysThatThereIsNoSuchFile) {
  const TemporaryFolder folder;
  const auto file = folder.Write("a.png", SmallPng());
  fs::create_symlink("nowhere", folder.path() / "broken");
  for (const fs::path& path : {folder.path() / "b.png",
                               folder.path() / "broken",
                               file / "c.png",
                               folder.path() / std::string(300, 'n'),
                               fs::path()}) {
    EXPECT_EQ(ErrorOf(path).kind, ErrorKind::kNotFound) << path;
  }
  EXPECT_EQ(ErrorOf("port-09.jpg").Text(),
            "port-09.jpg: there is no such file. Check the name and the folder.");
}

TEST(ReadFrame, TakesNoNameWithAZeroForTheNameBeforeIt) {
  const TemporaryFolder folder;
  const auto file = folder.Write("a.png", SmallPng());
  EXPECT_EQ(ErrorOf(file.string() + std::string("\0.jpg", 5)).kind, ErrorKind::kNotFound);
}

TEST(ReadFrame, GivesUpOnALinkToItself) {
  const TemporaryFolder folder;
  fs::create_symlink("loop", folder.path() / "loop");
  EXPECT_EQ(ErrorOf(folder.path() / "loop").kind, ErrorKind::kUnreadable);
}

TEST(ReadFrame, RefusesFoldersAndDevicesByName) {
  const TemporaryFolder folder;
  const Error error = ErrorOf(folder.path());
  EXPECT_EQ(error.kind, ErrorKind::kUnreadable);
  EXPECT_EQ(error.what, "this is a folder, not a picture file");
  for (const char* device : {"/dev/null", "/dev/zero", "/dev/full", "/dev/tty"}) {
    if (!fs::exists(device)) continue;
    EXPECT_EQ(ErrorOf(device).what, "this is a device, not a picture file") << device;
  }
}

TEST(ReadFrame, WaitsForNoPipe) {
  const TemporaryFolder folder;
  const fs::path pipe = folder.path() / "pipe.png";
  ASSERT_EQ(mkfifo(pipe.c_str(), 0600), 0);
  const auto start = std::chrono::steady_clock::now();
  EXPECT_EQ(ErrorOf(pipe).what, "this is a pipe, not a picture file");
  // A pipe without a writer would hold an open() for ever; the test's time limit would end it.
  EXPECT_LT(std::chrono::steady_clock::now() - start, std::chrono::seconds(5));
}

TEST(ReadFrame, RefusesASocket) {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "s";
  const int descriptor = socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  path.string().copy(address.sun_path, sizeof address.sun_path - 1);
  ASSERT_EQ(bind(descriptor, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  EXPECT_EQ(ErrorOf(path).what, "this is a socket, not a picture file");
  close(descriptor);
}

// In a child that is not root, whom no permission stops.
TEST(ReadFrame, SaysThatAFileMayNotBeRead) {
  const TemporaryFolder folder;
  fs::permissions(folder.path(), fs::perms::others_exec, fs::perm_options::add);
  const auto file = folder.Write("a.png", SmallPng());
  fs::permissions(file, fs::perms::none);
  const pid_t child = fork();
  if (child == 0) {
    constexpr uid_t kNobody = 65534;
    if (geteuid() == 0 && setuid(kNobody) != 0) _exit(10);
    const auto frame = ReadFrame(file);
    if (frame.ok()) _exit(11);
    if (frame.error().kind != ErrorKind::kUnreadable) _exit(12);
    _exit(frame.error().what == "the file may not be read: Permission denied" ? 0 : 13);
  }
  int status = -1;
  ASSERT_EQ(waitpid(child, &status, 0), child);
  EXPECT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 0);
}

TEST(ReadFrame, SaysThatAFileIsEmpty) {
  const TemporaryFolder folder;
  const auto file = folder.Write("empty.jpg", "");
  EXPECT_EQ(
      ErrorOf(file).Text(),
      file.string() +
          ": the file is empty. Copy it from the camera again, or take the photograph again.");
  EXPECT_EQ(DecodeFrame("", "x").error().kind, ErrorKind::kCorrupt);
}

TEST(ReadFrame, HoldsTheLimitOnBytesExactly) {
  const TemporaryFolder folder;
  const std::string png = SmallPng();
  const auto file = folder.Write("a.png", png);
  ReadOptions options;
  options.max_file_bytes = static_cast<std::int64_t>(png.size());
  EXPECT_TRUE(ReadFrame(file, options).ok());
  options.max_file_bytes -= 1;
  const Error error = ErrorOf(file, options);
  EXPECT_EQ(error.kind, ErrorKind::kTooLarge);
  EXPECT_EQ(error.file, file.string());
}

// A hole of a terabyte: refused by its size, not by reading it.
TEST(ReadFrame, ReadsNothingOfAFileThatIsTooLarge) {
  const TemporaryFolder folder;
  const auto file = folder.Write("huge.jpg", "\xff\xd8\xff");
  fs::resize_file(file, 1ull << 40);
  const auto start = std::chrono::steady_clock::now();
  EXPECT_EQ(ErrorOf(file).kind, ErrorKind::kTooLarge);
  EXPECT_LT(std::chrono::steady_clock::now() - start, std::chrono::seconds(1));
}

// Files of the system that say they have no bytes, and have some.
TEST(ReadFrame, BelievesTheReadingMoreThanTheSize) {
  EXPECT_EQ(ErrorOf("/proc/version").kind, ErrorKind::kUnsupported);
}

// A file that is written to meanwhile: whatever comes out has pixels and digest of the same bytes.
TEST(ReadFrame, JudgesOneSnapshotOfAChangingFile) {
  const TemporaryFolder folder;
  const std::string black = Piped("pnmtopng", "P5 64 64 255\n" + std::string(64 * 64, '\0'));
  const std::string white = Piped("pnmtopng", "P5 64 64 255\n" + std::string(64 * 64, '\xff'));
  const std::string black_digest = DecodeFrame(black, "").value().sha256;
  const auto file = folder.Write("a.png", black);
  std::atomic<bool> is_done = false;
  std::thread writer([&] {
    for (int i = 0; !is_done; ++i) {
      std::ofstream(file, std::ios::binary) << (i % 2 == 0 ? white : black);
    }
  });
  for (int i = 0; i < 300; ++i) {
    const auto frame = ReadFrame(file);
    if (!frame.ok()) continue;  // caught half-written
    const int value = frame->luma.at<std::uint8_t>(63, 63);
    EXPECT_EQ(value, frame->sha256 == black_digest ? 0 : 255);
  }
  is_done = true;
  writer.join();
}

// --- Other kinds of file ---

TEST(ReadFrame, SaysWhatAnUnknownFileLooksLike) {
  using namespace std::string_literals;
  const std::pair<std::string, const char*> files[] = {
      {"\0\0\0\x18"
       "ftypheic\0\0\0\0"s,
       "HEIC"},
      {"\0\0\0\x18"
       "ftypavif\0\0\0\0"s,
       "AVIF"},
      {"\0\0\0\x18"
       "ftypqt  \0\0\0\0"s,
       "film"},
      {"RIFF\x10\0\0\0WEBPVP8 "s, "WebP"},
      {"RIFF\x10\0\0\0AVI LIST"s, "film"},
      {"%PDF-1.7\n%"s, "PDF"},
      {"GIF89a\1\0\1\0"s, "GIF"},
      {"\0\0\0\x0cjP  \r\n\x87\n"s, "JPEG 2000"},
      {"\0\0\0\x0cJXL \r\n\x87\n"s, "JPEG XL"},
      {"8BPS\0\1"s, "PSD"},
      {"PK\3\4\x14\0"s, "ZIP"},
      {"II+\0\x08\0"s, "BigTIFF"},
      {"II*\0\x10\0\0\0CR\2\0"s, "raw file"},
      {"P5\n3 2\n255\n"s, "netpbm"},
      {std::string(128, '\0') + "DICM\2\0"s, "DICOM"},
      {"SIMPLE  =                    T"s, "FITS"},
      {"Dear Sir or Madam,\n"s, "text"},
      {"BMW 3 series, second hand"s, "text"},
      {"<svg xmlns='http://www.w3.org/2000/svg'/>"s, "text"},
      {"\xef\xbb\xbf{}"s, "text"},
  };
  for (const auto& [bytes, word] : files) {
    const auto frame = DecodeFrame(bytes, "photo.jpg");
    ASSERT_FALSE(frame.ok()) << word;
    EXPECT_EQ(frame.error().kind, ErrorKind::kUnsupported) << word;
    EXPECT_NE(frame.error().what.find(word), std::string::npos) << frame.error().what;
    EXPECT_EQ(frame.error().remedy, "Export it as JPEG or PNG and give that file");
    EXPECT_EQ(frame.error().file, "photo.jpg");
  }
  EXPECT_EQ(DecodeFrame("\1\2\3\4\5\6\7\x08", "x").error().what, "not a picture of a kind we know");
}

// Files as Pillow writes them.
TEST(ReadFrame, KnowsFilesOfOtherProgramsByTheirStart) {
  const std::pair<const char*, const char*> kinds[] = {
      {"WEBP", "WebP"}, {"GIF", "GIF"}, {"PDF", "PDF"}, {"JPEG2000", "JPEG 2000"}, {"ICO", "ICO"}};
  for (const auto& [kind, word] : kinds) {
    const std::string bytes = PythonOutput(
        "import io, sys\n"
        "from PIL import Image\n"
        "file = io.BytesIO()\n"
        "Image.new('L', (32, 32), 99).save(file, sys.argv[1])\n"
        "sys.stdout.buffer.write(file.getvalue())\n",
        kind);
    const auto frame = DecodeFrame(bytes, "x");
    ASSERT_FALSE(frame.ok());
    EXPECT_NE(frame.error().what.find(word), std::string::npos) << frame.error().what;
  }
}

// --- Options ---

TEST(ReadOptions, AreHeldToTheirRanges) {
  EXPECT_FALSE(ReadOptions{}.Problem());
  for (const std::int64_t pixels :
       {std::int64_t{0}, std::int64_t{-5}, std::int64_t{1'000'000'001}}) {
    ReadOptions options;
    options.max_pixels = pixels;
    EXPECT_EQ(options.Problem(),
              "ReadOptions.max_pixels = " + std::to_string(pixels) + ": must be within [1, 1e9]");
    EXPECT_EQ(ErrorOf("x", options).kind, ErrorKind::kBadOption);
  }
  ReadOptions options;
  options.max_file_bytes = 0;
  EXPECT_TRUE(options.Problem());
  options.max_file_bytes = (std::int64_t{1} << 32) + 1;
  EXPECT_TRUE(options.Problem());
  EXPECT_EQ(DecodeFrame("x", "x", options).error().kind, ErrorKind::kBadOption);
}

}  // namespace
}  // namespace endgrade
