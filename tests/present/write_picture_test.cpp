#include "endgrade/present.h"
#include "tests/support/temporary_folder.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include <cstdlib>
#include <fstream>

namespace endgrade {
namespace {

namespace fs = std::filesystem;

cv::Mat Noise(cv::Size size, int type) {
  cv::Mat picture(size, type);
  cv::RNG rng(1);
  rng.fill(picture, cv::RNG::UNIFORM, 0, picture.depth() == CV_16U ? 65536 : 256);
  return picture;
}

// What a reference decoder, `pngtopnm` of Netpbm or `djpeg` of libjpeg-turbo, makes of a file.
cv::Mat Decoded(const std::string& decoder, const fs::path& file) {
  const fs::path plain = file.string() + ".pnm";
  const std::string command = decoder + " '" + file.string() + "' > '" + plain.string() + "'";
  EXPECT_EQ(std::system(command.c_str()), 0) << command;  // NOLINT(concurrency-mt-unsafe)
  std::ifstream in(plain, std::ios::binary);
  std::string magic;
  int width = 0, height = 0, most = 0;
  in >> magic >> width >> height >> most;
  in.get();
  const int channels = magic == "P6" ? 3 : 1;
  cv::Mat picture(height, width, CV_MAKETYPE(most > 255 ? CV_16U : CV_8U, channels));
  in.read(reinterpret_cast<char*>(picture.data),
          static_cast<std::streamsize>(picture.total() * picture.elemSize()));
  EXPECT_TRUE(in.good());
  if (picture.depth() == CV_16U) {  // high byte first
    for (auto& sample : cv::Mat_<std::uint16_t>(picture)) {
      sample = static_cast<std::uint16_t>(sample << 8 | sample >> 8);
    }
  }
  if (channels == 3) cv::cvtColor(picture, picture, cv::COLOR_RGB2BGR);
  return picture;
}

double MostDifference(const cv::Mat& a, const cv::Mat& b) {
  if (a.size() != b.size() || a.type() != b.type()) return -1;
  return cv::norm(a, b, cv::NORM_INF);
}

TEST(WritePicture, PngComesBackPixelByPixel) {
  const TemporaryFolder folder;
  const fs::path file = folder.path() / "a.png";
  for (const int type : {CV_8UC1, CV_8UC3, CV_16UC1}) {
    for (const cv::Size size : {cv::Size(1, 1), cv::Size(7, 3), cv::Size(641, 480)}) {
      const cv::Mat picture = Noise(size, type);
      ASSERT_FALSE(WritePicture(file, picture));
      EXPECT_EQ(MostDifference(Decoded("pngtopnm", file), picture), 0) << type << " " << size;
    }
  }
}

TEST(WritePicture, WritesAPartOfALargerPicture) {
  const TemporaryFolder folder;
  const cv::Mat part = Noise({200, 100}, CV_8UC3)(cv::Rect(13, 7, 50, 60));
  ASSERT_FALSE(WritePicture(folder.path() / "a.png", part));
  EXPECT_EQ(MostDifference(Decoded("pngtopnm", folder.path() / "a.png"), part), 0);
}

TEST(WritePicture, JpegComesBackCloseWithSharpColour) {
  const TemporaryFolder folder;
  cv::Mat picture(101, 203, CV_8UC3, cv::Scalar(110, 110, 110));
  cv::line(picture, {0, 0}, {200, 100}, cv::Scalar(0, 159, 230), 2);
  for (const char* name : {"a.jpg", "b.JPEG"}) {
    const fs::path file = folder.path() / name;
    ASSERT_FALSE(WritePicture(file, picture));
    const cv::Mat decoded = Decoded("djpeg", file);
    ASSERT_EQ(decoded.size(), picture.size());
    // Quality 92 quantises by steps of up to 16; colour at half resolution would be off by far
    // more on a line of two pixels.
    EXPECT_LT(cv::norm(decoded, picture, cv::NORM_L1) / static_cast<double>(picture.total() * 3),
              1.5);
    EXPECT_LT(MostDifference(decoded, picture), 40);
  }
}

TEST(WritePicture, GivesTheSameBytesEachTime) {
  const TemporaryFolder folder;
  const cv::Mat picture = Noise({300, 200}, CV_8UC3);
  for (const std::string ending : {".png", ".jpg"}) {
    std::string bytes[2];
    for (int i = 0; i < 2; ++i) {
      const fs::path file = folder.path() / (std::to_string(i) + ending);
      ASSERT_FALSE(WritePicture(file, picture));
      std::ifstream in(file, std::ios::binary);
      bytes[i].assign(std::istreambuf_iterator<char>(in), {});
    }
    EXPECT_EQ(bytes[0], bytes[1]);
  }
}

TEST(WritePicture, RefusesWhatItCannotWrite) {
  const TemporaryFolder folder;
  const cv::Mat picture = Noise({8, 8}, CV_8UC3);
  const auto kind = [&](const char* name, const cv::Mat& pixels) {
    const auto error = WritePicture(folder.path() / name, pixels);
    EXPECT_TRUE(error) << name;
    if (!error) return ErrorKind::kInternal;
    EXPECT_EQ(error->file, (folder.path() / name).string());
    return error->kind;
  };
  EXPECT_EQ(kind("a.gif", picture), ErrorKind::kUnsupported);
  EXPECT_EQ(kind("a", picture), ErrorKind::kUnsupported);
  EXPECT_EQ(kind("a.png", cv::Mat()), ErrorKind::kUnsupported);
  EXPECT_EQ(kind("a.png", Noise({8, 8}, CV_8UC4)), ErrorKind::kUnsupported);
  EXPECT_EQ(kind("a.jpg", Noise({8, 8}, CV_16UC1)), ErrorKind::kUnsupported);
  EXPECT_EQ(kind("a.jpg", cv::Mat(1, 70000, CV_8UC1, cv::Scalar(0))), ErrorKind::kUnsupported);
  EXPECT_EQ(kind("gone/a.png", picture), ErrorKind::kWriteFailed);
}

}  // namespace
}  // namespace endgrade
