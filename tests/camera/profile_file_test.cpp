#include "core/sha256.h"
#include "endgrade/camera.h"
#include "tests/support/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>

namespace endgrade {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

CameraProfile FullProfile() {
  CameraProfile profile;
  profile.id = "bench-scope-2";
  profile.picture_px = {1280, 960};
  profile.num_pictures = 9;
  profile.num_positions = 7;
  profile.largest_move_px = 212.4;
  profile.scale_source = CameraScaleSource::kTarget;
  profile.um_per_px = {0.251234, 0.000513};
  profile.um_per_px_scatter = 0.000912;
  profile.pixel_aspect = {1.0412, 0.0023};
  profile.blur_sigma_um = {0.412, 0.05};
  profile.flat = FlatField{{0.1, -0.02, 0.003, -0.0004, -0.15, 0.01}};
  profile.noise = NoiseLaw{0.112, 0.02125, true};
  profile.dirt_known = true;
  FixedDirt dust;
  dust.centre_px = {401.5, 222.5};
  dust.diameter_px = 8.5;
  dust.transmission = 0.6125;
  dust.outline_px = {{395, 215}, {408, 215}, {408, 230}, {395, 230}};
  FixedDirt soft;
  soft.centre_px = {700, 500};
  soft.diameter_px = 60;
  soft.transmission = 0.95;
  soft.divided = true;
  soft.grid_origin_px = {660.5, 460.5};
  soft.grid_step_px = 8;
  soft.grid = (cv::Mat_<float>(2, 3) << 1.0F, 0.98F, 1.0F, 0.97F, 0.95F, 0.96F);
  profile.dirt = {dust, soft};
  return profile;
}

std::string WithLine(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, text.find('\n', at) - at, to);
}

TEST(CameraProfileFile, ReadsBackAsItWasWritten) {
  const TemporaryFolder folder;
  const CameraProfile written = FullProfile();
  const std::string toml = CameraProfileToml(written);
  const auto read = ReadCameraProfile(folder.Write("a.toml", toml));
  ASSERT_TRUE(read.ok()) << read.error().Text();
  EXPECT_EQ(CameraProfileToml(*read), toml);
  EXPECT_EQ(read->sha256, Sha256Hex(toml));
  EXPECT_EQ(read->id, written.id);
  EXPECT_EQ(read->picture_px, written.picture_px);
  EXPECT_DOUBLE_EQ(read->um_per_px.value, written.um_per_px.value);
  EXPECT_DOUBLE_EQ(read->pixel_aspect.value, written.pixel_aspect.value);
  ASSERT_EQ(read->dirt.size(), 2U);
  EXPECT_EQ(read->dirt[0].outline_px, written.dirt[0].outline_px);
  EXPECT_FALSE(read->dirt[0].divided);
  EXPECT_TRUE(read->dirt[1].divided);
  EXPECT_EQ(cv::norm(read->dirt[1].grid, written.dirt[1].grid, cv::NORM_INF), 0);
}

TEST(CameraProfileFile, WhatWasNotLearntIsNotThere) {
  const TemporaryFolder folder;
  CameraProfile profile = FullProfile();
  profile.flat.reset();
  profile.noise.reset();
  profile.dirt.clear();
  profile.dirt_known = false;
  const std::string toml = CameraProfileToml(profile);
  EXPECT_THAT(toml, AllOf(::testing::Not(HasSubstr("[flat_field]")), HasSubstr("known = false")));
  const auto read = ReadCameraProfile(folder.Write("a.toml", toml));
  ASSERT_TRUE(read.ok()) << read.error().Text();
  EXPECT_FALSE(read->flat || read->noise || read->dirt_known);
}

TEST(CameraProfileFile, MistakesAreNamedWithTheirLine) {
  const TemporaryFolder folder;
  const std::string good = CameraProfileToml(FullProfile());
  const std::vector<std::array<std::string, 3>> cases = {
      {"schema =", "schema = \"endgrade.camera/2\"", "endgrade.camera/1"},
      {"um_per_px =", "um_per_px = -1", "um_per_px"},
      {"um_per_px =", "um_per_px = \"fine\"", "um_per_px"},
      {"width_px =", "width_px = 0", "width_px"},
      {"pixel_aspect =", "pixel_aspect = 7", "pixel_aspect"},
      {"known =", "known = 3", "known"},
      {"use =", "use = \"forget\"", "use"},
      {"outline_px =", "outline_px = [[1, 2], [3]]", "outline_px"},
      {"num_pictures =", "number = 3", "number"},
      {"grid_step_px =", "grid_step_px = 0", "grid_step_px"},
      {"[picture]", "[pictures]", "picture"},
      {"id =", "id = [", "TOML"}};
  for (const auto& [from, to, word] : cases) {
    const auto read = ReadCameraProfile(folder.Write("bad.toml", WithLine(good, from, to)));
    ASSERT_FALSE(read.ok()) << to;
    EXPECT_THAT(read.error().Text(), AllOf(HasSubstr("bad.toml"), HasSubstr(word))) << to;
    EXPECT_GT(read.error().line, 0) << to;
  }
}

TEST(CameraProfileFile, AFileThatIsNotThereIsNamed) {
  const auto read = ReadCameraProfile("no/such/camera.toml");
  ASSERT_FALSE(read.ok());
  EXPECT_THAT(read.error().Text(), HasSubstr("no/such/camera.toml"));
}

// Every piece cut from a good file is refused or read, never a crash.
TEST(CameraProfileFile, AFileCutShortAnywhereIsReadOrRefused) {
  const TemporaryFolder folder;
  const std::string good = CameraProfileToml(FullProfile());
  int refused = 0;
  for (std::size_t length = 0; length < good.size(); length += 7) {
    const auto read = ReadCameraProfile(folder.Write("cut.toml", good.substr(0, length)));
    refused += read.ok() ? 0 : 1;
    if (read.ok()) {
      EXPECT_FALSE(read->Problem());
    }
  }
  EXPECT_GT(refused, 50);
}

}  // namespace
}  // namespace endgrade
