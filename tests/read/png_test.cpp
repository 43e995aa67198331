// PNG against pngtopnm of netpbm, which turns libpng's rows into samples by code of its own.
#include "endgrade/read.h"
#include "tests/read/png_writer.h"
#include "tests/read/reference_tools.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

Frame Decoded(const std::string& bytes, bool colour) {
  ReadOptions options;
  options.colour = colour;
  auto frame = DecodeFrame(bytes, "test.png", options);
  if (!frame.ok()) throw std::runtime_error(frame.error().Text());
  return *frame;
}

// Samples of fewer than 8 bits spread over 0 to 255 (PNG, 13.12: the left-most bits repeated, which
// for these depths is the same as a multiplication).
cv::Mat Spread(const Pnm& pnm) {
  if (pnm.max_value >= 255) return pnm.samples;
  cv::Mat spread;
  pnm.samples.convertTo(spread, CV_8U, 255.0 / pnm.max_value);
  return spread;
}

std::string KindName(const PngKind& kind) {
  std::string name;
  switch (kind.colour_type) {
    case PNG_COLOR_TYPE_GRAY:
      name = "Grey";
      break;
    case PNG_COLOR_TYPE_GRAY_ALPHA:
      name = "GreyAlpha";
      break;
    case PNG_COLOR_TYPE_PALETTE:
      name = "Palette";
      break;
    case PNG_COLOR_TYPE_RGB:
      name = "Colour";
      break;
    default:
      name = "ColourAlpha";
      break;
  }
  name += std::to_string(kind.bits);
  if (kind.is_interlaced) name += "Interlaced";
  if (kind.has_transparent_colour) name += "Transparent";
  return name;
}

// All 15 pairs of bit depth and colour type (PNG, table 11.1), interlaced or not, and with a
// transparent colour where there may be one.
std::vector<PngKind> AllKinds() {
  std::vector<PngKind> kinds;
  const auto add = [&](int colour_type, std::initializer_list<int> depths) {
    for (const int bits : depths) {
      for (const bool is_interlaced : {false, true}) {
        kinds.push_back({1, 1, bits, colour_type, is_interlaced, false});
        if ((colour_type & PNG_COLOR_MASK_ALPHA) == 0) {
          kinds.push_back({1, 1, bits, colour_type, is_interlaced, true});
        }
      }
    }
  };
  add(PNG_COLOR_TYPE_GRAY, {1, 2, 4, 8, 16});
  add(PNG_COLOR_TYPE_PALETTE, {1, 2, 4, 8});
  add(PNG_COLOR_TYPE_RGB, {8, 16});
  add(PNG_COLOR_TYPE_GRAY_ALPHA, {8, 16});
  add(PNG_COLOR_TYPE_RGB_ALPHA, {8, 16});
  return kinds;
}

// Over black, to the nearest value.
cv::Mat OverBlack(const cv::Mat& samples, const Pnm& alpha) {
  cv::Mat result = samples.clone();
  for (int y = 0; y < samples.rows; ++y) {
    for (int i = 0; i < samples.cols * samples.channels(); ++i) {
      const int x = i / samples.channels();
      const bool is_wide = samples.depth() == CV_16U;
      const double full = alpha.max_value;
      const double a = alpha.samples.depth() == CV_16U ? alpha.samples.at<std::uint16_t>(y, x)
                                                       : alpha.samples.at<std::uint8_t>(y, x);
      const double v = is_wide ? samples.ptr<std::uint16_t>(y)[i] : samples.ptr<std::uint8_t>(y)[i];
      const double laid = std::floor(v * a / full + 0.5);
      if (is_wide) {
        result.ptr<std::uint16_t>(y)[i] = static_cast<std::uint16_t>(laid);
      } else {
        result.ptr<std::uint8_t>(y)[i] = static_cast<std::uint8_t>(laid);
      }
    }
  }
  return result;
}

cv::Mat Widened(const cv::Mat& samples, int channels) {
  if (samples.channels() == channels) return samples;
  cv::Mat wide;
  cv::merge(std::vector<cv::Mat>(static_cast<std::size_t>(channels), samples), wide);
  return wide;
}

class PngKinds : public testing::TestWithParam<PngKind> {};

TEST_P(PngKinds, AreReadAsPngtopnmReadsThem) {
  PngKind kind = GetParam();
  for (const auto& [width, height] : {std::pair(1u, 1u), std::pair(5u, 3u), std::pair(61u, 47u)}) {
    SCOPED_TRACE(std::to_string(width) + " x " + std::to_string(height));
    kind.width = width;
    kind.height = height;
    const std::string png = RandomPng(kind);
    const cv::Mat seen = Spread(ParsePnm(Piped("pngtopnm", png)));
    const bool is_colour = seen.channels() == 3;
    const bool has_alpha =
        (kind.colour_type & PNG_COLOR_MASK_ALPHA) != 0 || kind.has_transparent_colour;
    const cv::Mat expected =
        has_alpha ? OverBlack(seen, ParsePnm(Piped("pngtopnm -alpha", png))) : seen;
    const Frame frame = Decoded(png, false);
    EXPECT_EQ(frame.luma.depth(), kind.bits == 16 ? CV_16U : CV_8U);
    if (is_colour) {
      EXPECT_TRUE(IsLumaOf(frame.luma, expected));
    } else {
      EXPECT_TRUE(SamePixels(frame.luma, expected));
    }
    const Frame coloured = Decoded(png, true);
    EXPECT_TRUE(SamePixels(coloured.luma, frame.luma)) << "luma must not depend on the overlay";
    EXPECT_EQ(coloured.colour.type(), CV_8UC3);
    EXPECT_EQ(coloured.white_level, frame.white_level);
    if (kind.bits != 16) {
      EXPECT_TRUE(SamePixels(coloured.colour, Widened(expected, 3)));
    }
  }
}

INSTANTIATE_TEST_SUITE_P(All, PngKinds, testing::ValuesIn(AllKinds()), [](const auto& info) {
  return KindName(info.param);
});

TEST(DecodePng, ReadsEverySmallInterlacedSize) {
  for (std::uint32_t width = 1; width <= 9; ++width) {
    for (std::uint32_t height = 1; height <= 9; ++height) {
      const std::string png = RandomPng({width, height, 4, PNG_COLOR_TYPE_GRAY, true, false});
      EXPECT_TRUE(SamePixels(Decoded(png, false).luma, Spread(ParsePnm(Piped("pngtopnm", png)))))
          << width << " x " << height;
    }
  }
}

TEST(DecodePng, NarrowsSixteenBitColourToTheNearestOfEight) {
  const std::string png = RandomPng({40, 30, 16, PNG_COLOR_TYPE_RGB, false, false});
  const Pnm seen = ParsePnm(Piped("pngtopnm", png));
  const Frame frame = Decoded(png, true);
  ASSERT_EQ(frame.white_level, 65535.0);
  for (int y = 0; y < 30; ++y) {
    for (int i = 0; i < 120; ++i) {
      const double exact = seen.samples.ptr<std::uint16_t>(y)[i] * 255.0 / 65535.0;
      // Half a unit of rounding, and what single precision may add to it.
      EXPECT_NEAR(frame.colour.ptr(y)[i], exact, 0.5001);
    }
  }
}

// Values as a camera of 8 to 16 bits leaves them in the low bits of 16: pnmtopng writes them.
TEST(DecodePng, TakesWhiteFromTheBitsInUse) {
  for (const auto& [brightest, white] : {std::pair(65535, 65535.0),
                                         std::pair(16384, 65535.0),
                                         std::pair(16383, 16383.0),
                                         std::pair(4096, 16383.0),
                                         std::pair(4095, 4095.0),
                                         std::pair(1023, 1023.0),
                                         std::pair(255, 255.0)}) {
    const std::string pgm = std::string("P5 2 1 65535\n") + static_cast<char>(brightest >> 8) +
                            static_cast<char>(brightest & 0xff) + std::string("\0\2", 2);
    // pnmtopng -force: without it values that fit are stored in fewer bits.
    const Frame frame = Decoded(Piped("pnmtopng -force", pgm), true);
    if (frame.luma.depth() == CV_16U) {
      EXPECT_EQ(frame.luma.at<std::uint16_t>(0, 0), brightest);
    } else {
      ADD_FAILURE() << "not 16 bits";
    }
    EXPECT_EQ(frame.white_level, white) << brightest;
    EXPECT_EQ(frame.colour.at<cv::Vec3b>(0, 0)[1], cvRound(255.0 * brightest / white));
  }
}

TEST(DecodePng, LetsNoGammaNorProfileNorTextChangeASample) {
  const std::string png = RandomPng({31, 17, 8, PNG_COLOR_TYPE_RGB, false, false});
  const std::string chunks =
      PngChunk("gAMA", BigEndian(100000)) + PngChunk("sRGB", std::string(1, '\0')) +
      PngChunk("iCCP", "not a profile at all") + PngChunk("sBIT", "\5\6\5") +
      PngChunk("tEXt", std::string("made\0by hand", 12)) + PngChunk("zTXt", "broken deflate") +
      PngChunk("bKGD", std::string("\0\1\0\2\0\3", 6));
  EXPECT_TRUE(SamePixels(Decoded(WithChunkAfterHeader(png, chunks), true).colour,
                         Decoded(png, true).colour));
}

// --- Which way up ---

std::string ExifChunk(int orientation) {
  std::string tiff("MM\0*\0\0\0\x08\0\1\x01\x12\0\3\0\0\0\1\0", 19);
  tiff += static_cast<char>(orientation);
  return PngChunk("eXIf", tiff + std::string(6, '\0'));
}

// Pillow reads eXIf wherever it stands before the pixels, and turns by its own code.
TEST(DecodePng, IsTurnedByItsExifAsPillowTurnsIt) {
  const std::string png = RandomPng({23, 11, 8, PNG_COLOR_TYPE_GRAY, false, false});
  for (int orientation = 1; orientation <= 8; ++orientation) {
    const std::string early = WithChunkAfterHeader(png, ExifChunk(orientation));
    const TemporaryFolder folder;
    const std::string turned = PythonOutput(
        "import sys\n"
        "from PIL import Image, ImageOps\n"
        "image = ImageOps.exif_transpose(Image.open(sys.argv[1]))\n"
        "sys.stdout.buffer.write(b'P5 %d %d 255\\n' % image.size + image.tobytes())\n",
        folder.Write("turned.png", early).string());
    const cv::Mat expected = ParsePnm(turned).samples;
    EXPECT_TRUE(SamePixels(Decoded(early, false).luma, expected)) << orientation;
    const std::string late = WithChunkBeforeEnd(png, ExifChunk(orientation));
    EXPECT_TRUE(SamePixels(Decoded(late, false).luma, expected)) << orientation << ", late";
  }
}

// --- Damage ---

std::vector<std::string> SmallFiles() {
  return {RandomPng({13, 9, 8, PNG_COLOR_TYPE_RGB, false, false}),
          RandomPng({13, 9, 8, PNG_COLOR_TYPE_PALETTE, true, true}),
          RandomPng({13, 9, 16, PNG_COLOR_TYPE_GRAY_ALPHA, true, false}),
          WithChunkAfterHeader(RandomPng({13, 9, 1, PNG_COLOR_TYPE_GRAY, false, false}),
                               ExifChunk(6) + PngChunk("tEXt", "a comment"))};
}

TEST(DecodePng, RefusesEveryFileCutShort) {
  for (const std::string& png : SmallFiles()) {
    for (std::size_t length = 1; length < png.size(); ++length) {
      const auto frame = DecodeFrame(png.substr(0, length), "cut.png");
      ASSERT_FALSE(frame.ok()) << length << " of " << png.size() << " bytes";
      const auto expected = length < 8 ? ErrorKind::kUnsupported : ErrorKind::kCorrupt;
      EXPECT_EQ(frame.error().kind, expected) << length << ": " << frame.error().Text();
    }
  }
}

// Signature, lengths, names, bodies and checksums are all held against something.
TEST(DecodePng, RefusesEveryFlippedBit) {
  for (const std::string& png : SmallFiles()) {
    for (std::size_t bit = 0; bit < 8 * png.size(); ++bit) {
      std::string flipped = png;
      flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ 1 << bit % 8);
      const auto frame = DecodeFrame(flipped, "flipped.png");
      ASSERT_FALSE(frame.ok()) << "bit " << bit % 8 << " of byte " << bit / 8;
      EXPECT_NE(frame.error().kind, ErrorKind::kInternal);
    }
  }
}

TEST(DecodePng, RefusesAFileWithFewerRowsThanItSays) {
  const std::string png = RandomPng({64, 32, 8, PNG_COLOR_TYPE_GRAY, false, false});
  const auto frame = DecodeFrame(WithPngSize(png, 64, 33), "short.png");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
}

// --- Too large ---

TEST(DecodePng, RefusesABombByItsHeaderAtOnce) {
  const std::string png =
      WithPngSize(RandomPng({8, 8, 8, PNG_COLOR_TYPE_GRAY, false, false}), 100000, 100000);
  const double start_ms = WorkMs();
  const auto frame = DecodeFrame(png, "bomb.png");
  const double took_ms = WorkMs() - start_ms;
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().Text(),
            "bomb.png: its header says 100000 x 100000 pixels, and at most 100000000 are read. "
            "Crop it to the end face, or raise the limit on pixels.");
  EXPECT_LT(took_ms, 5.0);
}

// Allowed by the limit, but deflate cannot make 100 MB of 100 bytes.
TEST(DecodePng, TakesNoMemoryForWhatAFileCannotHold) {
  const std::string png =
      WithPngSize(RandomPng({8, 8, 8, PNG_COLOR_TYPE_GRAY, false, false}), 10000, 10000);
  const double start_ms = WorkMs();
  const auto frame = DecodeFrame(png, "bomb.png");
  const double took_ms = WorkMs() - start_ms;
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
  EXPECT_LT(took_ms, 5.0);
}

// The most that deflate can do is not called too much: a black picture, compressed as far as zlib
// goes.
TEST(DecodePng, ReadsTheMostCompressiblePicture) {
  const std::string png = PythonOutput(
      "import sys\n"
      "from PIL import Image\n"
      "Image.new('1', (8000, 8000)).save(sys.stdout.buffer, 'PNG', compress_level=9)\n");
  const Frame frame = Decoded(png, false);
  EXPECT_EQ(frame.luma.size(), cv::Size(8000, 8000));
  EXPECT_EQ(cv::countNonZero(frame.luma), 0);
}

TEST(DecodePng, RefusesSizesBeyondTheFormat) {
  const std::string png = RandomPng({8, 8, 8, PNG_COLOR_TYPE_GRAY, false, false});
  for (const auto& [width, height] : {std::pair(0u, 8u), std::pair(8u, 0u)}) {
    EXPECT_EQ(DecodeFrame(WithPngSize(png, width, height), "").error().kind, ErrorKind::kCorrupt);
  }
  for (const auto& [width, height] : {std::pair(0xffffffffu, 1u), std::pair(1u, 0xffffffffu)}) {
    EXPECT_EQ(DecodeFrame(WithPngSize(png, width, height), "").error().kind, ErrorKind::kTooLarge);
  }
}

}  // namespace
}  // namespace endgrade
