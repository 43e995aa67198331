#include "endgrade/render.h"
#include "render/sensor.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>

namespace endgrade {
namespace {

SceneDescription Scene(std::uint64_t seed, std::uint64_t unit) {
  SceneDescription scene;
  scene.seed = seed;
  scene.camera.unit = unit;
  scene.camera.width_px = 320;
  scene.camera.height_px = 240;
  scene.camera.um_per_px = 0.8;
  scene.camera.lens_dirt = 2;
  scene.camera.sensor_dust = 3;
  scene.camera.hot_pixels = 2;
  return scene;
}

bool Same(const std::vector<render::DirtSpot>& a, const std::vector<render::DirtSpot>& b) {
  if (a.size() != b.size()) return false;
  for (std::size_t i = 0; i < a.size(); ++i) {
    if (a[i].centre_px != b[i].centre_px || a[i].depth != b[i].depth) return false;
  }
  return true;
}

TEST(CameraUnit, ScenesOfOneUnitShareDirtWhateverTheirSeeds) {
  const auto first = render::LensDirt(Scene(1, 9));
  EXPECT_EQ(first.size(), 5U);
  EXPECT_TRUE(Same(first, render::LensDirt(Scene(2, 9))));
  EXPECT_FALSE(Same(first, render::LensDirt(Scene(1, 10))));
  EXPECT_FALSE(Same(render::LensDirt(Scene(1, 0)), render::LensDirt(Scene(2, 0))));
}

TEST(CameraUnit, DustDarkensThePictureWhereItIs) {
  SceneDescription scene = Scene(1, 9);
  scene.camera.lens_dirt = 0;
  scene.camera.hot_pixels = 0;
  SceneDescription clean = scene;
  clean.camera.sensor_dust = 0;
  const auto with = RenderScene(scene);
  const auto without = RenderScene(clean);
  ASSERT_TRUE(with.ok() && without.ok());
  for (const render::DirtSpot& spot : render::LensDirt(scene)) {
    const cv::Rect middle =
        cv::Rect(cvRound(spot.centre_px.x) - 1, cvRound(spot.centre_px.y) - 1, 3, 3) &
        cv::Rect(0, 0, 320, 240);
    if (middle.empty()) continue;
    const double ratio = cv::mean(with->picture(middle))[0] / cv::mean(without->picture(middle))[0];
    EXPECT_NEAR(1 - ratio, spot.depth, 0.25 * spot.depth + 0.02);
  }
}

TEST(CameraUnit, SceneFilesKeepUnitAndDust) {
  const std::string json = SceneJson(Scene(3, 12345));
  EXPECT_NE(json.find("\"unit\": 12345"), std::string::npos) << json;
  EXPECT_NE(json.find("\"sensor_dust\": 3"), std::string::npos) << json;
}

}  // namespace
}  // namespace endgrade
