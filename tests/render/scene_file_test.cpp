#include "endgrade/render.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <fstream>

namespace endgrade {
namespace {

using testing::HasSubstr;

class SceneFile : public testing::Test {
 protected:
  std::filesystem::path Write(const std::string& name, const std::string& text) {
    const auto path = std::filesystem::path(testing::TempDir()) / ("endgrade-scene-" + name);
    std::ofstream(path, std::ios::binary) << text;
    written_.push_back(path);
    return path;
  }
  void TearDown() override {
    for (const auto& path : written_) std::filesystem::remove(path);
  }

 private:
  std::vector<std::filesystem::path> written_;
};

TEST_F(SceneFile, TomlNamesOnlyWhatDiffers) {
  const auto scene = ReadScene(Write("a.toml",
                                     "seed = 9\n"
                                     "limits_id = \"mm-pc\"\n"
                                     "[camera]\nbase = \"probe\"\num_per_px = 0.6\n"
                                     "[[features]]\nshape = \"scratch\"\ncentre_um = [1, -2.5]\n"));
  ASSERT_TRUE(scene.ok()) << scene.error().Text();
  EXPECT_EQ(scene->seed, 9U);
  EXPECT_EQ(scene->camera.width_px, 640);
  EXPECT_EQ(scene->camera.um_per_px, 0.6);
  ASSERT_EQ(scene->features.size(), 1U);
  EXPECT_EQ(scene->features[0].shape, FeatureShape::kScratch);
  EXPECT_EQ(scene->features[0].centre_um, cv::Point2d(1, -2.5));
}

TEST_F(SceneFile, SceneComesBackFromItsJsonAndFromItsTruth) {
  const auto scene = RandomScene(12);
  ASSERT_TRUE(scene.ok());
  const auto again = ReadScene(Write("b.json", SceneJson(*scene)));
  ASSERT_TRUE(again.ok()) << again.error().Text();
  EXPECT_EQ(SceneJson(*again), SceneJson(*scene));
  const auto from_truth = ReadScene(Write("c.json", TruthJson(*scene, SceneTruth{})));
  ASSERT_TRUE(from_truth.ok());
  EXPECT_EQ(SceneJson(*from_truth), SceneJson(*scene));
}

TEST_F(SceneFile, MistakesAreNamed) {
  const std::pair<const char*, const char*> cases[] = {
      {"camera = 3\n", "camera: must be a table"},
      {"[camera]\nzoom = 2\n", "camera.zoom: no such key"},
      {"[camera]\num_per_px = \"fine\"\n", "camera.um_per_px: must be a number"},
      {"[camera]\num_per_px = 50\n", "camera.um_per_px = 50: must be within [0.05, 3]"},
      {"[fibre]\ncore_look = \"red\"\n", "fibre.core_look: must be one of plain, lit, dark"},
      {"[[features]]\ncentre_um = [1]\n", "features[0].centre_um: must be a list of 2 numbers"},
      {"limits_id = \"none\"\n", "must be one of sm-upc, sm-pc, sm-apc, mm-pc"},
      {"seed = 1\nseed = 2\n", "seed"},
  };
  for (const auto& [text, expected] : cases) {
    const auto scene = ReadScene(Write("d.toml", text));
    ASSERT_FALSE(scene.ok()) << text;
    EXPECT_THAT(scene.error().Text(), HasSubstr(expected));
    EXPECT_THAT(scene.error().Text(), HasSubstr("endgrade-scene-d.toml"));
  }
  EXPECT_FALSE(ReadScene(Write("e.json", "{")).ok());
  EXPECT_EQ(ReadScene("/dev/zero").error().what, "not a file");
  EXPECT_THAT(ReadScene(Write("f.json", std::string((16 << 20) + 1, ' '))).error().what,
              testing::HasSubstr("too large"));
  EXPECT_EQ(ReadScene("/nowhere/at-all.toml").error().kind, ErrorKind::kNotFound);
}

TEST(TruthJson, HoldsGeometryFeaturesAndVerdict) {
  SceneDescription scene;
  scene.camera.width_px = 600;
  scene.camera.height_px = 560;
  scene.camera.um_per_px = 0.48;
  SceneFeature speck;
  speck.centre_um = {2, 0};
  scene.features = {speck};
  const auto rendered = RenderScene(scene);
  ASSERT_TRUE(rendered.ok());
  const auto json = nlohmann::json::parse(TruthJson(scene, rendered->truth));
  EXPECT_EQ(json["schema"], "endgrade.truth/1");
  EXPECT_EQ(json["rendered"], true);
  EXPECT_EQ(json["face_verdict"], "fail");
  EXPECT_NEAR(json["um_per_px"].get<double>(), 0.48, 1e-12);
  EXPECT_NEAR(json["cladding"]["semi_axes_px"][0].get<double>(), 62.5 / 0.48, 1e-6);
  const auto& feature = json["features"][0];
  EXPECT_EQ(feature["kind"], "defect");
  EXPECT_EQ(feature["zone"], "A");
  EXPECT_NEAR(feature["size_um"].get<double>(), 3.0, 1e-3);
  EXPECT_TRUE(feature["width_um"].is_null());
}

}  // namespace
}  // namespace endgrade
