// TIFFs written by tifffile and Pillow, whose readers and arrays say what they hold.
#include "endgrade/read.h"
#include "tests/read/reference_tools.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

namespace endgrade {
namespace {

namespace fs = std::filesystem;

// All files, written once.
const fs::path& Folder() {
  static const TemporaryFolder folder;
  static const fs::path path = [&] {
    OutputOf("/usr/bin/python3 -B " ENDGRADE_SOURCE_DIR "/tests/read/write_tiffs.py " +
             folder.path().string());
    return folder.path();
  }();
  return path;
}

std::vector<fs::path> Files(bool refused) {
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(Folder())) {
    const fs::path& file = entry.path();
    if (file.extension() != ".tif") continue;
    if (file.filename().string().starts_with("refused_") == refused) files.push_back(file);
  }
  std::sort(files.begin(), files.end());
  return files;
}

cv::Mat Expected(const fs::path& tiff) {
  std::string raw = BytesOf(fs::path(tiff).replace_extension(".raw"));
  std::int32_t head[4];
  std::memcpy(head, raw.data(), sizeof head);
  const int type = CV_MAKETYPE(head[3] == 2 ? CV_16U : CV_8U, head[2]);
  return cv::Mat(head[0], head[1], type, raw.data() + sizeof head).clone();
}

Frame Read(const fs::path& file, bool colour) {
  ReadOptions options;
  options.colour = colour;
  auto frame = ReadFrame(file, options);
  if (!frame.ok()) throw std::runtime_error(frame.error().Text());
  return *frame;
}

TEST(ReadTiff, GivesTheSamplesThatWereWritten) {
  const auto files = Files(false);
  ASSERT_GE(files.size(), 60u);
  for (const fs::path& file : files) {
    SCOPED_TRACE(file.filename().string());
    const cv::Mat expected = Expected(file);
    const Frame frame = Read(file, true);
    EXPECT_EQ(frame.luma.depth(), expected.depth());
    EXPECT_TRUE(SamePixels(Read(file, false).luma, frame.luma));
    if (expected.channels() == 1) {
      EXPECT_TRUE(SamePixels(frame.luma, expected));
    } else {
      EXPECT_TRUE(IsLumaOf(frame.luma, expected));
      if (expected.depth() == CV_8U) {
        EXPECT_TRUE(SamePixels(frame.colour, expected));
      }
    }
  }
}

TEST(ReadTiff, RefusesKindsThatWouldBeReadWrongly) {
  const auto files = Files(true);
  ASSERT_EQ(files.size(), 10u);
  for (const fs::path& file : files) {
    const auto frame = ReadFrame(file);
    ASSERT_FALSE(frame.ok()) << file;
    EXPECT_EQ(frame.error().kind, ErrorKind::kUnsupported) << frame.error().Text();
    EXPECT_EQ(frame.error().remedy, "Export it as JPEG or PNG and give that file");
  }
}

// Tifftopnm of netpbm on files of pnmtotiff: neither is tifffile.
TEST(ReadTiff, AgreesWithTifftopnm) {
  const std::string ppm = PnmFrom(TestPicture(77, 55, 3));
  const std::string pgm = PnmFrom(TestPicture(77, 55, 1));
  for (const char* options : {"-none", "-lzw", "-packbits", "-flate", "-rowsperstrip=5"}) {
    for (const std::string& pnm : {ppm, pgm}) {
      const TemporaryFolder folder;
      const std::string file = (folder.path() / "made.tif").string();
      Piped("pnmtotiff -quiet -truecolor -output=" + file + " " + options + " 2>/dev/null", pnm);
      const cv::Mat seen = ParsePnm(OutputOf("tifftopnm " + file + " 2>/dev/null")).samples;
      const Frame frame = Read(file, true);
      if (seen.channels() == 3) {
        EXPECT_TRUE(SamePixels(frame.colour, seen)) << options;
      } else {
        EXPECT_TRUE(SamePixels(frame.luma, seen)) << options;
      }
    }
  }
}

// --- Damage. What is stored plainly ends with its pixels or its directory: no cut goes unseen. ---

TEST(ReadTiff, RefusesPlainFilesCutShort) {
  for (const char* name : {"grey8.tif", "rgb16_big_endian.tif", "grey8_tiles.tif"}) {
    const std::string tiff = BytesOf(Folder() / name);
    for (std::size_t length = 1; length < tiff.size(); length += length < 400 ? 1 : 977) {
      const auto frame = DecodeFrame(tiff.substr(0, length), "cut.tif");
      ASSERT_FALSE(frame.ok()) << name << ", " << length << " of " << tiff.size() << " bytes";
      EXPECT_THAT(frame.error().kind, testing::AnyOf(ErrorKind::kCorrupt, ErrorKind::kUnsupported));
    }
  }
}

TEST(ReadTiff, RefusesCompressedFilesCutShortAndPrintsNothing) {
  for (const char* name : {"grey8_deflate.tif", "grey8_lzw.tif", "grey16_deflate.tif"}) {
    const std::string tiff = BytesOf(Folder() / name);
    testing::internal::CaptureStderr();
    for (std::size_t length = 8; length < tiff.size(); length += 499) {
      EXPECT_FALSE(DecodeFrame(tiff.substr(0, length), "cut.tif").ok()) << name << ", " << length;
    }
    EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
  }
}

// Pillow tells of the same damage. One clear line is for the caller to print; the libraries beneath
// have none of their own.
TEST(ReadTiff, RefusesDamageAmidCompressedDataAndPrintsNothing) {
  const std::string smooth = PythonOutput(
      "import io, sys, numpy as np\n"
      "from PIL import Image\n"
      "waves = np.add.outer(np.arange(157), np.arange(203)).astype(np.uint8)\n"
      "file = io.BytesIO()\n"
      "Image.fromarray(waves).save(file, 'TIFF', compression='tiff_adobe_deflate')\n"
      "sys.stdout.buffer.write(file.getvalue())\n");
  for (std::string tiff : {BytesOf(Folder() / "grey8_lzw.tif"), smooth}) {
    ASSERT_TRUE(DecodeFrame(tiff, "").ok());
    for (std::size_t i = 0; i < 40; ++i) {
      char& c = tiff[tiff.size() / 2 + i];
      c = static_cast<char>(~c);
    }
    testing::internal::CaptureStderr();
    testing::internal::CaptureStdout();
    const auto frame = DecodeFrame(tiff, "damaged.tif");
    EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
    EXPECT_EQ(testing::internal::GetCapturedStdout(), "");
    ASSERT_FALSE(frame.ok());
    EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
  }
}

TEST(ReadTiff, MeetsFlippedDirectoryBitsWithAFrameOrAnError) {
  for (const char* name : {"grey8.tif", "rgb16_tiles.tif", "grey8_lzw.tif", "palette8.tif"}) {
    const std::string tiff = BytesOf(Folder() / name);
    ReadOptions small;
    small.max_pixels = 1'000'000;
    // The header, and the directory wherever it stands: tifffile puts it first, Pillow last.
    for (std::size_t bit = 0; bit < 8 * tiff.size(); bit += 3) {
      if (bit / 8 > 400 && bit / 8 + 400 < tiff.size()) continue;
      std::string flipped = tiff;
      flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ 1 << bit % 8);
      const auto frame = DecodeFrame(flipped, "flipped.tif", small);
      if (frame.ok()) {
        EXPECT_LE(frame->luma.total(), 1'000'000u);
      }
    }
  }
}

// --- A directory of our own, to lie in ---

std::string Number(std::uint32_t value, int num_bytes) {
  std::string bytes;
  for (int i = 0; i < num_bytes; ++i) bytes += static_cast<char>(value >> 8 * i & 0xff);
  return bytes;
}

struct Entry {
  std::uint32_t tag, type, count, value;
};

std::string Tiff(const std::vector<Entry>& entries, std::size_t num_pixel_bytes) {
  std::string tiff =
      "II" + Number(42, 2) + Number(8, 4) + Number(static_cast<std::uint32_t>(entries.size()), 2);
  for (const Entry& e : entries) {
    tiff += Number(e.tag, 2) + Number(e.type, 2) + Number(e.count, 4) + Number(e.value, 4);
  }
  return tiff + Number(0, 4) + std::string(num_pixel_bytes, '\x40');
}

std::vector<Entry> Sound(std::uint32_t width, std::uint32_t height, std::uint32_t num_bytes) {
  return {{256, 4, 1, width},
          {257, 4, 1, height},
          {258, 3, 1, 8},
          {259, 3, 1, 1},
          {262, 3, 1, 1},
          {273, 4, 1, 8 + 2 + 9 * 12 + 4},
          {277, 3, 1, 1},
          {278, 4, 1, height},
          {279, 4, 1, num_bytes}};
}

TEST(ReadTiff, ReadsADirectoryMadeByHand) {
  const auto frame = DecodeFrame(Tiff(Sound(20, 10, 200), 200), "hand.tif");
  ASSERT_TRUE(frame.ok()) << frame.error().Text();
  EXPECT_EQ(frame->luma.size(), cv::Size(20, 10));
  EXPECT_EQ(cv::countNonZero(frame->luma != 0x40), 0);
}

TEST(ReadTiff, RefusesABombByItsHeader) {
  const auto frame = DecodeFrame(Tiff(Sound(100000, 100000, 200), 200), "bomb.tif");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kTooLarge);
}

// OpenCV would take memory for the strip that the file speaks of. TIFF 6.0: 2^32 - 1 rows are all.
TEST(ReadTiff, RefusesAStripFarLargerThanThePicture) {
  auto entries = Sound(4000, 2, 8000);
  entries[7].value = 64608;
  const auto frame = DecodeFrame(Tiff(entries, 8000), "strip.tif");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
  entries[7].value = 0xffffffff;
  EXPECT_TRUE(DecodeFrame(Tiff(entries, 8000), "strip.tif").ok());
}

TEST(ReadTiff, RefusesStripsTooSmallOrOutsideTheFile) {
  EXPECT_EQ(DecodeFrame(Tiff(Sound(20, 10, 199), 200), "").error().kind, ErrorKind::kCorrupt);
  EXPECT_EQ(DecodeFrame(Tiff(Sound(20, 10, 201), 200), "").error().kind, ErrorKind::kCorrupt);
  auto entries = Sound(20, 10, 200);
  entries[5].value = 0xfffffff0u;
  EXPECT_EQ(DecodeFrame(Tiff(entries, 200), "").error().kind, ErrorKind::kCorrupt);
  entries = Sound(20, 10, 200);
  entries[7].value = 5;  // two strips, one listed
  EXPECT_EQ(DecodeFrame(Tiff(entries, 200), "").error().kind, ErrorKind::kCorrupt);
}

TEST(ReadTiff, RefusesADirectoryThatIsNotThere) {
  std::string tiff = Tiff(Sound(20, 10, 200), 200);
  tiff.replace(4, 4, Number(0xffffffffu, 4));
  EXPECT_EQ(DecodeFrame(tiff, "").error().kind, ErrorKind::kCorrupt);
  tiff = Tiff(Sound(20, 10, 200), 200);
  tiff.replace(8, 2, Number(0xffff, 2));
  EXPECT_EQ(DecodeFrame(tiff, "").error().kind, ErrorKind::kCorrupt);
  auto entries = Sound(20, 10, 200);
  entries[5].count = 0xffffffffu;
  EXPECT_EQ(DecodeFrame(Tiff(entries, 200), "").error().kind, ErrorKind::kCorrupt);
  for (std::size_t missing : {0u, 1u, 4u, 5u, 8u}) {
    entries = Sound(20, 10, 200);
    entries[missing].tag = 60000;
    EXPECT_EQ(DecodeFrame(Tiff(entries, 200), "").error().kind, ErrorKind::kCorrupt) << missing;
  }
}

TEST(ReadTiff, RefusesNoPixels) {
  EXPECT_EQ(DecodeFrame(Tiff(Sound(0, 10, 200), 200), "").error().kind, ErrorKind::kCorrupt);
  EXPECT_EQ(DecodeFrame(Tiff(Sound(20, 0, 200), 200), "").error().kind, ErrorKind::kCorrupt);
}

}  // namespace
}  // namespace endgrade
