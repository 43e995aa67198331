// Rendered photographs of one camera: the same dirt, light and lens, the fibre at other places.
#pragma once

#include "endgrade/camera.h"
#include "endgrade/render.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <vector>

namespace endgrade::testing {

// Places of the cladding's centre, pixels from the picture's middle: 90 and more apart.
inline const std::vector<cv::Point2d>& Places() {
  static const std::vector<cv::Point2d> places = {
      {0, 0}, {95, 50}, {-90, 65}, {70, -85}, {-105, -55}, {10, 100}, {-20, -105}, {120, -25}};
  return places;
}

// Clean but for one speck that moves with the fibre.
inline SceneDescription CameraScene(int index) {
  SceneDescription scene;
  scene.seed = 8100 + static_cast<std::uint64_t>(index);
  scene.camera.unit = 41;
  scene.camera.width_px = 1100;
  scene.camera.height_px = 1000;
  scene.camera.um_per_px = 0.30;
  scene.camera.centre_offset_px = Places()[static_cast<std::size_t>(index) % Places().size()];
  scene.camera.exposure = 0.8 + 0.15 * (index % 4);
  // Claddings within their tolerance of 125 +/- 1 um.
  scene.fibre.cladding_diameter_um = 125 + 0.3 * (index % 5 - 2);
  SceneFeature speck;
  speck.centre_um = {22, -14};
  speck.diameter_um = 4;
  scene.features.push_back(speck);
  return scene;
}

inline Frame FrameOf(const SceneDescription& scene) {
  const auto rendered = RenderScene(scene);
  Frame frame;
  if (!rendered.ok()) {
    ADD_FAILURE() << rendered.error().Text();
    return frame;
  }
  cv::extractChannel(rendered->picture, frame.luma, 0);
  frame.path = "learning/scene-" + std::to_string(scene.seed) + ".png";
  return frame;
}

inline CameraSample SampleOf(const SceneDescription& scene) {
  const auto sample = SampleForCamera(FrameOf(scene), *FindLimits("sm-upc"));
  if (!sample.ok()) ADD_FAILURE() << sample.error().Text();
  return sample.ok() ? *sample : CameraSample{};
}

}  // namespace endgrade::testing
