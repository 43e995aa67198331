// JPEG against djpeg of libjpeg-turbo, which shares the codec but none of our code: colour spaces,
// sampling, luma, upright turning and inks are ours to get right.
#include "endgrade/read.h"
#include "tests/read/reference_tools.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

Frame Decoded(const std::string& bytes, bool colour) {
  ReadOptions options;
  options.colour = colour;
  auto frame = DecodeFrame(bytes, "test.jpg", options);
  if (!frame.ok()) throw std::runtime_error(frame.error().Text());
  return *frame;
}

std::string Cjpeg(const cv::Mat& picture, const std::string& options) {
  return Piped("cjpeg " + options, PnmFrom(picture));
}

cv::Mat Djpeg(const std::string& jpeg, const std::string& options = "") {
  return ParsePnm(Piped("djpeg -pnm " + options, jpeg)).samples;
}

// --- Every kind that cjpeg writes ---

struct Kind {
  const char* name;
  int channels;
  const char* options;
};

class JpegKinds : public testing::TestWithParam<Kind> {};

TEST_P(JpegKinds, AreReadAsDjpegReadsThem) {
  for (const cv::Size size :
       {cv::Size(1, 1), cv::Size(7, 19), cv::Size(64, 48), cv::Size(211, 133)}) {
    SCOPED_TRACE(std::to_string(size.width) + " x " + std::to_string(size.height));
    const cv::Mat picture = TestPicture(size.width, size.height, GetParam().channels);
    const std::string jpeg = Cjpeg(picture, GetParam().options);
    const Frame plain = Decoded(jpeg, false);
    EXPECT_TRUE(SamePixels(plain.luma, Djpeg(jpeg, "-grayscale")));
    EXPECT_TRUE(plain.colour.empty());
    const Frame coloured = Decoded(jpeg, true);
    EXPECT_TRUE(SamePixels(coloured.colour, Djpeg(jpeg, "-rgb")));
    EXPECT_TRUE(SamePixels(coloured.luma, plain.luma)) << "luma must not depend on the overlay";
    EXPECT_EQ(plain.white_level, 255.0);
  }
}

INSTANTIATE_TEST_SUITE_P(
    All,
    JpegKinds,
    testing::Values(Kind{"Grey", 1, "-quality 90"},
                    Kind{"GreyProgressive", 1, "-quality 90 -progressive"},
                    Kind{"GreyArithmetic", 1, "-arithmetic"},
                    Kind{"FullChroma", 3, "-quality 92 -sample 1x1"},
                    Kind{"HalfWidthChroma", 3, "-quality 92 -sample 2x1"},
                    Kind{"HalfHeightChroma", 3, "-quality 92 -sample 1x2"},
                    Kind{"QuarterChroma", 3, "-quality 92 -sample 2x2"},
                    Kind{"SparseChroma", 3, "-quality 92 -sample 4x1"},
                    Kind{"LumaSparserThanChroma", 3, "-sample 1x1,2x2,2x2"},
                    Kind{"LowQuality", 3, "-quality 5"},
                    Kind{"BestQuality", 3, "-quality 100 -sample 1x1"},
                    Kind{"Progressive", 3, "-quality 85 -progressive"},
                    Kind{"ProgressiveArithmetic", 3, "-progressive -arithmetic"},
                    Kind{"Optimised", 3, "-optimize"},
                    Kind{"RestartEveryRow", 3, "-restart 1"},
                    Kind{"RestartEveryBlock", 3, "-restart 1B"},
                    Kind{"RgbInside", 3, "-rgb -quality 90"}),
    [](const auto& info) { return info.param.name; });

TEST(DecodeJpeg, TakesLumaOfRgbInsideByBt601) {
  const std::string jpeg = Cjpeg(TestPicture(90, 70, 3), "-rgb -quality 90");
  EXPECT_TRUE(IsLumaOf(Decoded(jpeg, false).luma, Djpeg(jpeg, "-rgb")));
}

// ITU-T T.81, table K.1: 16 for the first coefficient of brightness, which cjpeg scales by 50 over
// the quality below 50 and by 2 less the quality's fiftieth above.
TEST(DecodeJpeg, TellsTheStepOfABlocksMean) {
  const cv::Mat picture = TestPicture(64, 48, 3);
  EXPECT_EQ(Decoded(Cjpeg(picture, "-quality 25"), false).block_step, 32 / 8.0);
  EXPECT_EQ(Decoded(Cjpeg(picture, "-quality 50"), true).block_step, 16 / 8.0);
  EXPECT_EQ(Decoded(Cjpeg(picture, "-quality 75 -progressive"), false).block_step, 8 / 8.0);
  EXPECT_EQ(Decoded(Cjpeg(picture, "-quality 75 -grayscale"), false).block_step, 8 / 8.0);
}

// --- Inks: written by Pillow, which stores them inverted behind Adobe's marker ---

std::string CmykJpeg(const std::string& image_expression) {
  return PythonOutput(
      "import sys, numpy as np\n"
      "from PIL import Image\n"
      "rng = np.random.default_rng(5)\n"
      "image = " +
      image_expression +
      "\n"
      "image.save(sys.stdout.buffer, 'JPEG', quality=100, subsampling=0)\n");
}

const char* const kInkNoise =
    "Image.fromarray(np.kron(rng.integers(0, 256, (9, 11, 4), dtype=np.uint8), "
    "np.ones((8, 8, 1), np.uint8)), 'CMYK')";

std::size_t AdobeMarker(const std::string& jpeg) {
  const auto at = jpeg.find("Adobe");
  if (at == std::string::npos || at < 4) throw std::runtime_error("no Adobe marker");
  return at - 4;  // marker and length before it
}

TEST(DecodeJpeg, TurnsInvertedInksToColourAsDjpegDoes) {
  const std::string jpeg = CmykJpeg(kInkNoise);
  const cv::Mat expected = Djpeg(jpeg);
  const Frame frame = Decoded(jpeg, true);
  EXPECT_TRUE(SamePixels(frame.colour, expected));
  EXPECT_TRUE(IsLumaOf(frame.luma, expected));
  EXPECT_TRUE(SamePixels(Decoded(jpeg, false).luma, frame.luma));
}

TEST(DecodeJpeg, TurnsYcckToColourAsDjpegDoes) {
  // The same data with Adobe's transform byte saying YCCK.
  std::string jpeg = CmykJpeg(kInkNoise);
  jpeg.at(AdobeMarker(jpeg) + 4 + 11) = 2;
  const Frame frame = Decoded(jpeg, true);
  EXPECT_TRUE(SamePixels(frame.colour, Djpeg(jpeg)));
  EXPECT_TRUE(IsLumaOf(frame.luma, frame.colour));
}

// Stored values of a flat picture at quality 100 are exact: a block's only coefficient is 8 times
// its value over a step of 1.
TEST(DecodeJpeg, TakesInksAsTheyAreWithoutAdobesMarker) {
  std::string jpeg = CmykJpeg("Image.new('CMYK', (16, 16), (40, 80, 120, 60))");
  // As stored: 255 - (40, 80, 120, 60). With the marker red is 215 * 195 / 255.
  EXPECT_EQ(Decoded(jpeg, true).colour.at<cv::Vec3b>(3, 3), cv::Vec3b(103, 134, 164));
  const std::size_t marker = AdobeMarker(jpeg);
  jpeg.erase(marker, 2 + 14);
  // Without it the stored values are the inks: red is (255 - 215) * (255 - 195) / 255.
  EXPECT_EQ(Decoded(jpeg, true).colour.at<cv::Vec3b>(3, 3), cv::Vec3b(28, 19, 9));
}

// --- Which way up ---

std::string ExifSegment(int orientation, bool is_little, int type = 3, int count = 1) {
  const auto number = [&](unsigned int value, int num_bytes) {
    std::string bytes;
    for (int i = 0; i < num_bytes; ++i) {
      const int shift = 8 * (is_little ? i : num_bytes - 1 - i);
      bytes += static_cast<char>(value >> shift & 0xff);
    }
    return bytes;
  };
  std::string tiff = is_little ? "II" : "MM";
  tiff += number(42, 2) + number(8, 4) + number(1, 2);
  tiff += number(0x0112, 2) + number(static_cast<unsigned int>(type), 2) +
          number(static_cast<unsigned int>(count), 4) +
          number(static_cast<unsigned int>(orientation), 2) + number(0, 2) + number(0, 4);
  const std::string body = std::string("Exif\0\0", 6) + tiff;
  const std::size_t length = body.size() + 2;
  return std::string("\xff\xe1") + static_cast<char>(length >> 8) +
         static_cast<char>(length & 0xff) + body;
}

std::string WithSegment(const std::string& jpeg, const std::string& segment) {
  return jpeg.substr(0, 2) + segment + jpeg.substr(2);
}

// Pillow's own turning, on grey pictures, whose pixels both take from the same codec.
std::string PillowTurned(const std::string& jpeg) {
  const TemporaryFolder folder;
  return PythonOutput(
      "import sys\n"
      "from PIL import Image, ImageOps\n"
      "image = ImageOps.exif_transpose(Image.open(sys.argv[1]))\n"
      "sys.stdout.buffer.write(b'P5 %d %d 255\\n' % image.size + image.tobytes())\n",
      folder.Write("turned.jpg", jpeg).string());
}

class JpegOrientation : public testing::TestWithParam<int> {};

TEST_P(JpegOrientation, IsTurnedAsPillowTurnsIt) {
  const std::string grey = Cjpeg(TestPicture(53, 37, 1), "-quality 95");
  for (const bool is_little : {true, false}) {
    const std::string jpeg = WithSegment(grey, ExifSegment(GetParam(), is_little));
    const Frame frame = Decoded(jpeg, true);
    EXPECT_TRUE(SamePixels(frame.luma, ParsePnm(PillowTurned(jpeg)).samples));
    cv::Mat blue;
    cv::extractChannel(frame.colour, blue, 0);
    EXPECT_TRUE(SamePixels(blue, frame.luma)) << "colour is turned with luma";
  }
}

INSTANTIATE_TEST_SUITE_P(AllEight, JpegOrientation, testing::Range(1, 9));

TEST(DecodeJpeg, StaysAsItIsWhereOrientationMakesNoSense) {
  const std::string grey = Cjpeg(TestPicture(53, 37, 1), "");
  const cv::Mat plain = Decoded(grey, false).luma;
  for (const int orientation : {0, 9, 255, 6 << 8}) {
    const std::string jpeg = WithSegment(grey, ExifSegment(orientation, true));
    EXPECT_TRUE(SamePixels(Decoded(jpeg, false).luma, plain)) << orientation;
  }
  for (const auto& [type, count] : {std::pair(2, 1), std::pair(3, 0), std::pair(7, 2)}) {
    const std::string jpeg = WithSegment(grey, ExifSegment(6, true, type, count));
    EXPECT_TRUE(SamePixels(Decoded(jpeg, false).luma, plain)) << type << " " << count;
  }
}

TEST(DecodeJpeg, SurvivesExifCutAnywhere) {
  const std::string grey = Cjpeg(TestPicture(20, 10, 1), "");
  const std::string segment = ExifSegment(6, false);
  for (std::size_t length = 4; length < segment.size(); ++length) {
    std::string cut = segment.substr(0, length);
    cut[2] = static_cast<char>((length - 2) >> 8);
    cut[3] = static_cast<char>((length - 2) & 0xff);
    EXPECT_EQ(Decoded(WithSegment(grey, cut), false).luma.total(), 200u) << length;
  }
}

TEST(DecodeJpeg, LooksPastOtherSegmentsForExif) {
  const std::string grey = Cjpeg(TestPicture(20, 10, 1), "");
  std::string other = "http://ns.adobe.com/xap/1.0/";
  other = std::string("\xff\xe1\0", 3) + static_cast<char>(other.size() + 2) + other;
  const std::string jpeg = WithSegment(grey, other + ExifSegment(6, true));
  EXPECT_EQ(Decoded(jpeg, false).luma.size(), cv::Size(10, 20));
}

// --- Damage ---

TEST(DecodeJpeg, RefusesEveryFileCutShort) {
  for (const char* options : {"-quality 60", "-quality 60 -progressive", "-restart 1", "-rgb"}) {
    const std::string jpeg = Cjpeg(TestPicture(48, 40, 3), options);
    for (std::size_t length = 1; length < jpeg.size(); ++length) {
      const auto frame = DecodeFrame(jpeg.substr(0, length), "cut.jpg");
      ASSERT_FALSE(frame.ok()) << options << ", " << length << " of " << jpeg.size() << " bytes";
      const auto expected = length < 3 ? ErrorKind::kUnsupported : ErrorKind::kCorrupt;
      EXPECT_EQ(frame.error().kind, expected) << length << ": " << frame.error().Text();
    }
  }
}

TEST(DecodeJpeg, SaysOfACutFileThatItIsCutShort) {
  const std::string jpeg = Cjpeg(TestPicture(64, 48, 3), "");
  const auto frame = DecodeFrame(jpeg.substr(0, jpeg.size() / 2), "port-07.jpg");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().Text(),
            "port-07.jpg: the JPEG file is cut short: it ends before its picture does. "
            "Copy it from the camera again, or take the photograph again.");
}

TEST(DecodeJpeg, MeetsEveryFlippedBitWithAFrameOrAnError) {
  for (const char* options : {"-quality 60", "-progressive", "-arithmetic", "-restart 1B"}) {
    const std::string jpeg = Cjpeg(TestPicture(24, 24, 3), options);
    int num_refused = 0;
    for (std::size_t bit = 0; bit < 8 * jpeg.size(); ++bit) {
      std::string flipped = jpeg;
      flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ 1 << bit % 8);
      ReadOptions small;
      small.max_pixels = 1'000'000;  // a flipped size can be 65,000 square
      const auto frame = DecodeFrame(flipped, "flipped.jpg", small);
      if (frame.ok()) {
        EXPECT_EQ(frame->luma.type(), CV_8UC1);
        EXPECT_LE(frame->luma.total(), 1'000'000u);
      } else {
        ++num_refused;
        EXPECT_FALSE(frame.error().what.empty());
      }
    }
    EXPECT_GT(num_refused, 0) << options;
  }
}

TEST(DecodeJpeg, RefusesGarbageAmidTheData) {
  std::string jpeg = Cjpeg(TestPicture(64, 64, 3), "-quality 90 -restart 1");
  jpeg.replace(jpeg.size() / 2, 40, std::string(40, '\x55'));
  const auto frame = DecodeFrame(jpeg, "garbage.jpg");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
}

// --- Too large, too many, too rare ---

// The start-of-frame segment: marker, length, precision, height, width.
std::size_t FrameHeader(const std::string& jpeg) {
  const auto at = jpeg.find("\xff\xc0");
  if (at == std::string::npos) throw std::runtime_error("no baseline frame header");
  return at;
}

std::string WithSize(std::string jpeg, int width, int height) {
  const std::size_t at = FrameHeader(jpeg);
  for (const auto& [offset, value] : {std::pair(5, height), std::pair(7, width)}) {
    jpeg[at + static_cast<std::size_t>(offset)] = static_cast<char>(value >> 8);
    jpeg[at + static_cast<std::size_t>(offset) + 1] = static_cast<char>(value & 0xff);
  }
  return jpeg;
}

TEST(DecodeJpeg, RefusesTooManyPixelsByTheHeader) {
  const std::string jpeg = WithSize(Cjpeg(TestPicture(16, 16, 3), ""), 65500, 65500);
  const auto frame = DecodeFrame(jpeg, "huge.jpg");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kTooLarge);
  EXPECT_EQ(frame.error().Text(),
            "huge.jpg: its header says 65500 x 65500 pixels, and at most 100000000 are read. "
            "Crop it to the end face, or raise the limit on pixels.");
}

TEST(DecodeJpeg, HoldsTheLimitOnPixelsExactly) {
  const std::string jpeg = Cjpeg(TestPicture(30, 20, 3), "");
  ReadOptions options;
  options.max_pixels = 600;
  EXPECT_TRUE(DecodeFrame(jpeg, "", options).ok());
  options.max_pixels = 599;
  EXPECT_FALSE(DecodeFrame(jpeg, "", options).ok());
}

// 9,000 x 9,000 is allowed, but 600 bytes cannot hold its 80 million pixels.
TEST(DecodeJpeg, TakesNoMemoryForWhatAFileCannotHold) {
  const std::string jpeg = WithSize(Cjpeg(TestPicture(16, 16, 3), ""), 9000, 9000);
  const double start_ms = WorkMs();
  const auto frame = DecodeFrame(jpeg, "bomb.jpg");
  const double took_ms = WorkMs() - start_ms;
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
  // Filling 81 MB alone takes longer than this.
  EXPECT_LT(took_ms, 5.0);
}

TEST(DecodeJpeg, RefusesEndlessScans) {
  const TemporaryFolder folder;
  const auto script = folder.Write("scans", "0;\n1;\n2;\n");
  std::string jpeg = Cjpeg(TestPicture(32, 32, 3), "-scans " + script.string());
  ASSERT_TRUE(DecodeFrame(jpeg, "three.jpg").ok());
  const std::size_t last = jpeg.rfind("\xff\xda");
  const std::string scan = jpeg.substr(last, jpeg.size() - 2 - last);
  for (int i = 0; i < 200; ++i) jpeg.insert(jpeg.size() - 2, scan);
  const auto frame = DecodeFrame(jpeg, "scans.jpg");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kUnsupported);
  EXPECT_NE(frame.error().what.find("more than 100 scans"), std::string::npos);
}

TEST(DecodeJpeg, RefusesASecondPictureAfterAFullScan) {
  std::string jpeg = Cjpeg(TestPicture(32, 32, 1), "");
  const std::size_t last = jpeg.rfind("\xff\xda");
  jpeg.insert(jpeg.size() - 2, jpeg.substr(last, jpeg.size() - 2 - last));
  const auto frame = DecodeFrame(jpeg, "twice.jpg");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kCorrupt);
  EXPECT_EQ(frame.error().what.find("Bogus message"), std::string::npos) << frame.error().what;
}

TEST(DecodeJpeg, NamesRareKinds) {
  std::string twelve_bits = Cjpeg(TestPicture(16, 16, 1), "");
  twelve_bits[FrameHeader(twelve_bits) + 4] = 12;
  std::string lossless = Cjpeg(TestPicture(16, 16, 1), "");
  lossless[FrameHeader(lossless) + 1] = '\xc3';
  for (const std::string& jpeg : {twelve_bits, lossless}) {
    const auto frame = DecodeFrame(jpeg, "rare.jpg");
    ASSERT_FALSE(frame.ok());
    EXPECT_EQ(frame.error().kind, ErrorKind::kUnsupported) << frame.error().Text();
    EXPECT_EQ(frame.error().remedy, "Export it as JPEG or PNG and give that file");
  }
}

TEST(DecodeJpeg, IgnoresWhatFollowsThePicture) {
  const std::string jpeg = Cjpeg(TestPicture(16, 16, 3), "");
  EXPECT_TRUE(
      SamePixels(Decoded(jpeg + std::string(999, 'x'), false).luma, Decoded(jpeg, false).luma));
}

}  // namespace
}  // namespace endgrade
