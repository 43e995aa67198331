#include "render/develop.h"

#include "render/random.h"
#include "render/sensor.h"

#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

namespace endgrade::render {
namespace {

void AddHotPixels(cv::Mat& raw, const SceneDescription& scene) {
  Random random(SubSeed(CameraSeed(scene), 41));
  for (int i = 0; i < scene.camera.hot_pixels; ++i) {
    const int x = random.Int(0, raw.cols - 1);
    const int y = random.Int(0, raw.rows - 1);
    raw.at<float>(y, x) = static_cast<float>(random.Uniform(0.6, 1.0));
  }
}

// Beats between the sensor's lines and the display's or the grabber's.
void AddMoire(cv::Mat& raw, const SceneDescription& scene) {
  if (scene.camera.moire <= 0) return;
  Random random(SubSeed(scene.seed, 42));
  const double angle = random.Uniform(0, std::numbers::pi);
  const double wave = 2 * std::numbers::pi / random.Uniform(5, 23);
  const double kx = wave * std::cos(angle);
  const double ky = wave * std::sin(angle);
  for (int y = 0; y < raw.rows; ++y) {
    float* row = raw.ptr<float>(y);
    for (int x = 0; x < raw.cols; ++x) {
      row[x] *= static_cast<float>(1 + scene.camera.moire * std::sin(kx * x + ky * y));
    }
  }
}

// Every other row was taken a little later: it stands to one side.
void Interlace(cv::Mat& picture, double shift_px) {
  if (shift_px == 0) return;
  const int whole = static_cast<int>(std::floor(shift_px));
  const auto t = static_cast<float>(shift_px - whole);
  const int channels = picture.channels();
  std::vector<float> before(static_cast<size_t>(picture.cols * channels));
  for (int y = 1; y < picture.rows; y += 2) {
    float* row = picture.ptr<float>(y);
    std::copy_n(row, before.size(), before.begin());
    for (int x = 0; x < picture.cols; ++x) {
      const int a = std::clamp(x - whole, 0, picture.cols - 1) * channels;
      const int b = std::clamp(x - whole - 1, 0, picture.cols - 1) * channels;
      for (int c = 0; c < channels; ++c) {
        row[x * channels + c] =
            (1 - t) * before[static_cast<size_t>(a + c)] + t * before[static_cast<size_t>(b + c)];
      }
    }
  }
}

// One filter a pixel to three values a pixel: the mean of the nearest pixels of each filter.
cv::Mat Demosaic(const cv::Mat& raw) {
  cv::Mat colour(raw.size(), CV_32FC3);
  cv::parallel_for_(cv::Range(0, raw.rows), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y) {
      for (int x = 0; x < raw.cols; ++x) {
        std::array<float, 3> sum{};
        std::array<float, 3> weight{};
        for (int j = -1; j <= 1; ++j) {
          for (int i = -1; i <= 1; ++i) {
            const int u = std::clamp(x + i, 0, raw.cols - 1);
            const int v = std::clamp(y + j, 0, raw.rows - 1);
            const auto f = static_cast<size_t>(FilterAt(u, v));
            const float w = i == 0 && j == 0 ? 1000.0F : i == 0 || j == 0 ? 2.0F : 1.0F;
            const bool diagonal_green = f == 1 && i != 0 && j != 0;
            sum[f] += diagonal_green ? 0 : w * raw.at<float>(v, u);
            weight[f] += diagonal_green ? 0 : w;
          }
        }
        for (int c = 0; c < 3; ++c) {
          const auto i = static_cast<size_t>(c);
          colour.at<cv::Vec3f>(y, x)[c] = sum[i] / weight[i];
        }
      }
    }
  });
  return colour;
}

cv::Mat Colour(const cv::Mat& raw, const SceneCamera& camera) {
  if (camera.colour == ColourMode::kGrey) return raw;
  if (camera.colour == ColourMode::kColour) return Demosaic(raw);
  cv::Mat tinted(raw.size(), CV_32FC3);
  for (int y = 0; y < raw.rows; ++y) {
    for (int x = 0; x < raw.cols; ++x) {
      const float v = raw.at<float>(y, x);
      tinted.at<cv::Vec3f>(y, x) = cv::Vec3f(static_cast<float>(camera.tint_bgr[0]) * v,
                                             static_cast<float>(camera.tint_bgr[1]) * v,
                                             static_cast<float>(camera.tint_bgr[2]) * v);
    }
  }
  return tinted;
}

void ToneCurve(cv::Mat& picture, const SceneCamera& camera) {
  constexpr int kEntries = 4096;
  std::vector<float> curve(kEntries + 2);
  for (int i = 0; i < kEntries + 2; ++i) {
    const double linear = std::min(1.0, static_cast<double>(i) / kEntries);
    curve[static_cast<size_t>(i)] = static_cast<float>(
        camera.black_level + (1 - camera.black_level) * std::pow(linear, 1 / camera.gamma));
  }
  for (int y = 0; y < picture.rows; ++y) {
    float* row = picture.ptr<float>(y);
    for (int x = 0; x < picture.cols * picture.channels(); ++x) {
      const float at = std::clamp(row[x], 0.0F, 1.0F) * kEntries;
      const auto i = static_cast<size_t>(at);
      const float t = at - static_cast<float>(i);
      row[x] = curve[i] + t * (curve[i + 1] - curve[i]);
    }
  }
}

// Cameras sharpen what they are about to store, in its own tone.
void Sharpen(cv::Mat& picture, const SceneCamera& camera) {
  if (camera.sharpen <= 0) return;
  cv::Mat soft;
  cv::GaussianBlur(picture, soft, {}, camera.sharpen_radius_px);
  picture = (1 + camera.sharpen) * picture - camera.sharpen * soft;
}

}  // namespace

cv::Mat Develop(cv::Mat raw, const SceneDescription& scene) {
  const SceneCamera& camera = scene.camera;
  AddHotPixels(raw, scene);
  AddMoire(raw, scene);
  cv::Mat picture = Colour(raw, camera);
  Interlace(picture, camera.interlace_px);
  ToneCurve(picture, camera);
  Sharpen(picture, camera);
  cv::Mat stored;
  picture.convertTo(stored, CV_8U, 255.0);
  DrawMarks(stored, camera);
  return stored;
}

}  // namespace endgrade::render
