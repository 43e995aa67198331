// BMPs against bmptopnm of netpbm.
#include "endgrade/read.h"
#include "tests/read/reference_tools.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

std::string Number(std::uint32_t value, int num_bytes) {
  std::string bytes;
  for (int i = 0; i < num_bytes; ++i) bytes += static_cast<char>(value >> 8 * i & 0xff);
  return bytes;
}

struct Kind {
  int bits = 24;
  bool is_top_down = false;
  std::vector<std::uint32_t> masks;  // red, green, blue: "bit fields"
  bool is_core = false;              // the oldest header, of 12 bytes
  bool has_grey_palette = false;
};

// Random pixels below a header.
std::string RandomBmp(const Kind& kind, int width, int height) {
  std::mt19937 random(static_cast<unsigned int>(kind.bits + width));
  std::string palette;
  if (kind.bits <= 8) {
    for (int i = 0; i < 1 << kind.bits; ++i) {
      const auto grey = static_cast<std::uint32_t>(255 * i / ((1 << kind.bits) - 1));
      palette +=
          Number(kind.has_grey_palette ? grey * 0x10101u : static_cast<std::uint32_t>(random()),
                 kind.is_core ? 3 : 4);
      if (!kind.is_core) palette.back() = 0;
    }
  }
  for (const std::uint32_t mask : kind.masks) palette += Number(mask, 4);
  const std::size_t row_bytes = static_cast<std::size_t>((width * kind.bits + 31) / 32 * 4);
  std::string pixels(row_bytes * static_cast<std::size_t>(height), '\0');
  for (char& c : pixels) c = static_cast<char>(random());
  const std::uint32_t header_bytes = kind.is_core ? 12 : 40;
  const auto start = static_cast<std::uint32_t>(14 + header_bytes + palette.size());
  std::string bmp = "BM" + Number(start + static_cast<std::uint32_t>(pixels.size()), 4) +
                    Number(0, 4) + Number(start, 4) + Number(header_bytes, 4);
  const auto w = static_cast<std::uint32_t>(width);
  const auto h = static_cast<std::uint32_t>(kind.is_top_down ? -height : height);
  bmp += Number(w, kind.is_core ? 2 : 4) + Number(h, kind.is_core ? 2 : 4) + Number(1, 2) +
         Number(static_cast<std::uint32_t>(kind.bits), 2);
  if (!kind.is_core) {
    bmp += Number(kind.masks.empty() ? 0 : 3, 4) +
           Number(static_cast<std::uint32_t>(pixels.size()), 4) + std::string(16, '\0');
  }
  return bmp + palette + pixels;
}

Frame Decoded(const std::string& bmp, bool colour) {
  ReadOptions options;
  options.colour = colour;
  auto frame = DecodeFrame(bmp, "test.bmp", options);
  if (!frame.ok()) throw std::runtime_error(frame.error().Text());
  return *frame;
}

void ExpectAsBmptopnm(const std::string& bmp) {
  const Frame frame = Decoded(bmp, true);
  const Pnm seen = ParsePnm(Piped("bmptopnm -quiet", bmp));
  cv::Mat expected = seen.samples;
  if (seen.max_value != 255) expected.convertTo(expected, CV_8U, 255.0 / seen.max_value);
  if (expected.channels() == 3) {
    EXPECT_TRUE(SamePixels(frame.colour, expected));
    EXPECT_TRUE(IsLumaOf(frame.luma, expected));
  } else {
    EXPECT_TRUE(SamePixels(frame.luma, expected));
  }
  EXPECT_TRUE(SamePixels(Decoded(bmp, false).luma, frame.luma));
}

TEST(ReadBmp, IsReadAsBmptopnmReadsIt) {
  for (const int bits : {1, 4, 8, 24, 32}) {
    for (const bool is_top_down : {false, true}) {
      for (const int width : {1, 7, 8, 33, 100}) {
        SCOPED_TRACE(std::to_string(bits) + " bits, width " + std::to_string(width) +
                     (is_top_down ? ", top down" : ""));
        Kind kind;
        kind.bits = bits;
        kind.is_top_down = is_top_down;
        ExpectAsBmptopnm(RandomBmp(kind, width, 21));
      }
    }
  }
}

TEST(ReadBmp, ReadsGreyPalettesAsGrey) {
  for (const int bits : {1, 4, 8}) {
    Kind kind;
    kind.bits = bits;
    kind.has_grey_palette = true;
    ExpectAsBmptopnm(RandomBmp(kind, 40, 30));
  }
}

// Most programs leave the fourth byte at zero, where alpha would make the picture black.
TEST(ReadBmp, TakesTheFourthByteForNoAlpha) {
  Kind kind;
  kind.bits = 32;
  std::string bmp = RandomBmp(kind, 10, 10);
  const cv::Mat before = Decoded(bmp, true).colour;
  for (std::size_t at = 54 + 3; at < bmp.size(); at += 4) bmp[at] = 0;
  EXPECT_TRUE(SamePixels(Decoded(bmp, true).colour, before));
}

// OpenCV 4.6 reads both, but not as they were stored: bmptopnm and Pillow agree on other samples.
TEST(ReadBmp, RefusesKindsThatWouldBeReadWrongly) {
  Kind oldest;
  oldest.is_core = true;
  Kind five_bits;
  five_bits.bits = 16;
  for (const Kind& kind : {oldest, five_bits}) {
    const auto frame = DecodeFrame(RandomBmp(kind, 19, 23), "rare.bmp");
    ASSERT_FALSE(frame.ok());
    EXPECT_EQ(frame.error().kind, ErrorKind::kUnsupported);
    EXPECT_EQ(frame.error().remedy, "Export it as JPEG or PNG and give that file");
  }
}

TEST(ReadBmp, ReadsBitMasks) {
  for (const auto& masks : {std::vector<std::uint32_t>{0xff0000, 0xff00, 0xff},
                            std::vector<std::uint32_t>{0xff, 0xff00, 0xff0000}}) {
    Kind kind;
    kind.bits = 32;
    kind.masks = masks;
    ExpectAsBmptopnm(RandomBmp(kind, 19, 23));
  }
}

TEST(ReadBmp, RefusesRunLengthCodes) {
  const cv::Mat picture = TestPicture(30, 20, 1);
  std::string bmp = Piped("ppmtobmp -quiet -bpp=8", PnmFrom(picture));
  ASSERT_TRUE(DecodeFrame(bmp, "").ok());
  bmp[30] = 1;
  EXPECT_EQ(DecodeFrame(bmp, "").error().kind, ErrorKind::kUnsupported);
}

TEST(ReadBmp, RefusesEveryFileCutShort) {
  Kind kind;
  for (const int bits : {8, 24}) {
    kind.bits = bits;
    const std::string bmp = RandomBmp(kind, 9, 7);
    for (std::size_t length = 1; length < bmp.size(); ++length) {
      const auto frame = DecodeFrame(bmp.substr(0, length), "cut.bmp");
      ASSERT_FALSE(frame.ok()) << length << " of " << bmp.size() << " bytes";
      EXPECT_EQ(frame.error().kind, length < 18 ? ErrorKind::kUnsupported : ErrorKind::kCorrupt);
    }
  }
}

TEST(ReadBmp, MeetsEveryFlippedHeaderBitWithAFrameOrAnErrorAndPrintsNothing) {
  testing::internal::CaptureStderr();
  for (const int bits : {1, 8, 16, 24, 32}) {
    Kind kind;
    kind.bits = bits;
    const std::string bmp = RandomBmp(kind, 40, 20);
    for (std::size_t bit = 0; bit < 8 * 70; ++bit) {
      std::string flipped = bmp;
      flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ 1 << bit % 8);
      const auto frame = DecodeFrame(flipped, "flipped.bmp");
      if (frame.ok()) {
        EXPECT_LE(frame->luma.total() * static_cast<std::size_t>(bits), 8 * bmp.size() * 32);
      }
    }
  }
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
}

TEST(ReadBmp, RefusesABombByItsHeader) {
  Kind kind;
  std::string bmp = RandomBmp(kind, 8, 8);
  bmp.replace(18, 8, Number(100000, 4) + Number(100000, 4));
  EXPECT_EQ(DecodeFrame(bmp, "").error().kind, ErrorKind::kTooLarge);
  bmp.replace(18, 8, Number(0x80000000u, 4) + Number(0x80000000u, 4));
  EXPECT_EQ(DecodeFrame(bmp, "").error().kind, ErrorKind::kCorrupt);
}

}  // namespace
}  // namespace endgrade
