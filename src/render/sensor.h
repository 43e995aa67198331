// From blurred light to stored pixels: lamp, noise, and what the camera does to its own picture.
#pragma once

#include "endgrade/scene.h"
#include "render/canvas.h"
#include "render/optics.h"

#include <opencv2/core.hpp>

#include <array>
#include <vector>

namespace endgrade::render {

// The light that falls on each pixel of the picture: cells blurred and gathered. CV_32FC1.
[[nodiscard]] cv::Mat Expose(const Canvas& canvas, const SceneDescription& scene);

// How far a pixel of the picture is from the plane of best focus at the face's centre, um.
[[nodiscard]] double ExtraDefocus(const SubGrid& grid, const SceneCamera& camera, cv::Point2d p_px);

// Blurs cells (any size that DFTs take) and gathers steps x steps of them into pixels.
[[nodiscard]] cv::Mat GatherPixels(cv::Mat cells, const SubGrid& grid, const Optics& optics);

// A soft shadow that stays with the camera: takes `depth` of the light at its middle.
struct DirtSpot {
  cv::Point2d centre_px;
  double radius_px;
  double depth;
};
// Dirt on the lens and dust on the sensor.
[[nodiscard]] std::vector<DirtSpot> LensDirt(const SceneDescription& scene);

// Seed of what belongs to the camera and not to the scene.
[[nodiscard]] std::uint64_t CameraSeed(const SceneDescription& scene);

// How much of the lamp's light and the sensor's gain reach each pixel, electrons for light 1.
[[nodiscard]] cv::Mat ElectronsPerLight(const SceneDescription& scene);

// Variance of one pixel, electrons squared: shot, read, and the rounding to 256 steps.
class PixelNoise {
 public:
  explicit PixelNoise(const SceneCamera& camera);
  [[nodiscard]] double Variance(double mean_e) const;

 private:
  static constexpr size_t kEntries = 1024;
  double read2_;
  double entries_per_e_;
  std::array<double, kEntries> rounding_e2_;
};

// The sensor's filter over pixel (x, y): which of blue, green, red; 1 for a grey sensor.
[[nodiscard]] int FilterAt(int x, int y);

// One exposure with its noise, developed: CV_8UC1 or CV_8UC3, before compression.
[[nodiscard]] cv::Mat TakePicture(const cv::Mat& mean_e, const SceneDescription& scene);

}  // namespace endgrade::render
