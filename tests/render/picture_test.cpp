#include "endgrade/render.h"
#include "render/develop.h"
#include "render/encode.h"
#include "render/random.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>
#include <png.h>

#include <cstring>

namespace endgrade {
namespace {

cv::Mat Noise(int type) {
  cv::Mat picture(37, 53, type);
  render::Random random(2);
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols * picture.channels(); ++x) {
      picture.ptr<unsigned char>(y)[x] = static_cast<unsigned char>(random.Int(0, 255));
    }
  }
  return picture;
}

// Read back by libpng's own simplified reader.
TEST(EncodePng, KeepsEveryPixel) {
  for (const int type : {CV_8UC1, CV_8UC3}) {
    const cv::Mat picture = Noise(type);
    const auto bytes = render::EncodePng(picture);
    ASSERT_TRUE(bytes.ok());
    png_image image;
    std::memset(&image, 0, sizeof image);
    image.version = PNG_IMAGE_VERSION;
    ASSERT_NE(png_image_begin_read_from_memory(&image, bytes->data(), bytes->size()), 0);
    image.format = type == CV_8UC1 ? PNG_FORMAT_GRAY : PNG_FORMAT_BGR;
    cv::Mat read(picture.size(), type);
    ASSERT_NE(png_image_finish_read(&image, nullptr, read.data, 0, nullptr), 0);
    EXPECT_EQ(cv::norm(read, picture, cv::NORM_INF), 0);
  }
}

// At full quality and full chroma a smooth picture comes back to within rounding.
TEST(EncodeJpeg, SmoothPictureComesBack) {
  cv::Mat picture(64, 64, CV_8UC3);
  for (int y = 0; y < 64; ++y) {
    for (int x = 0; x < 64; ++x) {
      const auto value = [](int v) { return static_cast<unsigned char>(v); };
      picture.at<cv::Vec3b>(y, x) = {value(40 + x), value(90 + y), value(60 + (x + y) / 2)};
    }
  }
  const auto bytes = render::EncodeJpeg(picture, 100, false);
  ASSERT_TRUE(bytes.ok());
  const auto read = render::DecodeJpeg(*bytes);
  ASSERT_TRUE(read.ok());
  EXPECT_LE(cv::norm(*read, picture, cv::NORM_INF), 3);
}

TEST(DecodeJpeg, BrokenBytesAreAnError) { EXPECT_FALSE(render::DecodeJpeg("not a picture").ok()); }

// 2^(1/2.2) and the like: stored = 255 linear^(1/gamma), rounded.
TEST(Develop, StoresTheToneCurve) {
  SceneDescription scene;
  scene.camera.gamma = 2.2;
  scene.camera.width_px = scene.camera.height_px = 16;
  const cv::Mat raw(16, 16, CV_32FC1, cv::Scalar(0.25));
  const cv::Mat stored = render::Develop(raw.clone(), scene);
  EXPECT_EQ(stored.at<unsigned char>(5, 5), 136);  // 255 * 0.25^(1/2.2) = 135.8
}

TEST(Develop, ColourSensorOfEvenLightGivesEvenColour) {
  SceneDescription scene;
  scene.camera.colour = ColourMode::kColour;
  const cv::Mat raw(20, 30, CV_32FC1, cv::Scalar(0.4));
  const cv::Mat stored = render::Develop(raw.clone(), scene);
  ASSERT_EQ(stored.type(), CV_8UC3);
  EXPECT_EQ(cv::norm(stored, cv::Mat(20, 30, CV_8UC3, cv::Scalar::all(102)), cv::NORM_INF), 0);
}

// A step sharpened by amount a overshoots by about a / 2 of its height at the edge.
TEST(Develop, SharpeningOvershootsAtAStep) {
  SceneDescription scene;
  scene.camera.sharpen = 1.0;
  cv::Mat raw(20, 40, CV_32FC1, cv::Scalar(0.4));
  raw.colRange(20, 40).setTo(0.6);
  const cv::Mat stored = render::Develop(raw, scene);
  EXPECT_GT(stored.at<unsigned char>(10, 20), 153 + 10);
  EXPECT_LT(stored.at<unsigned char>(10, 19), 102 - 10);
  EXPECT_EQ(stored.at<unsigned char>(10, 39), 153);
}

TEST(Develop, RoundMaskIsBlackOutside) {
  SceneDescription scene;
  scene.camera.mask_diameter = 0.9;
  const cv::Mat raw(100, 160, CV_32FC1, cv::Scalar(0.5));
  const cv::Mat stored = render::Develop(raw.clone(), scene);
  EXPECT_EQ(stored.at<unsigned char>(2, 2), 0);
  EXPECT_EQ(stored.at<unsigned char>(50, 80), 128);
  EXPECT_EQ(stored.at<unsigned char>(50, 80 + 47), 0);
}

}  // namespace
}  // namespace endgrade
