#include "endgrade/render.h"
#include "render/rule_table.h"
#include "render/truth.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

namespace endgrade {
namespace {

using testing::HasSubstr;

// The face's verdict by its features' true sizes; needs no picture.
render::TableVerdict VerdictOf(const SceneDescription& scene) {
  const render::RuleTable& table = *render::FindTable(scene.limits_id);
  std::vector<std::vector<render::Candidate>> features;
  const render::Shapes shapes = render::MakeShapes(scene);
  for (const TrueFeature& f : render::MeasureFeatures(scene, {}, table, shapes, 0)) {
    features.push_back({{f.is_scratch, f.size_um, f.zone, true}});
  }
  return render::ApplyTable(table, features);
}

TEST(RandomScene, SameSeedGivesTheSameSceneAndAnotherAnother) {
  EXPECT_EQ(SceneJson(*RandomScene(4)), SceneJson(*RandomScene(4)));
  EXPECT_NE(SceneJson(*RandomScene(4)), SceneJson(*RandomScene(5)));
}

TEST(RandomScene, EveryPresetCameraAndTableGivesAValidScene) {
  for (const std::string& preset : PresetNames()) {
    for (const std::string& camera : CameraNames()) {
      for (const std::string& id : render::TableIds()) {
        RandomSceneOptions options;
        options.preset = preset;
        options.camera = camera;
        options.limits_id = id;
        for (std::uint64_t seed = 1; seed <= 6; ++seed) {
          const auto scene = RandomScene(seed, options);
          ASSERT_TRUE(scene.ok());
          EXPECT_FALSE(scene->Problem()) << preset << " " << camera << ": " << *scene->Problem();
          EXPECT_EQ(scene->limits_id, id);
          EXPECT_EQ(scene->camera.name, camera);
        }
      }
    }
  }
}

TEST(RandomScene, BreaksEveryRuleOfEveryTable) {
  RandomSceneOptions options;
  options.preset = "faulty";
  for (const std::string& id : render::TableIds()) {
    options.limits_id = id;
    std::set<std::string> broken;
    for (std::uint64_t seed = 1; seed <= 150; ++seed) {
      for (const std::string& rule : VerdictOf(*RandomScene(seed, options)).broken) {
        broken.insert(rule);
      }
    }
    for (const render::TableRule& rule : render::FindTable(id)->rules) {
      EXPECT_TRUE(broken.count(rule.id) == 1) << id << ": " << rule.id;
    }
  }
}

TEST(RandomScene, FacesMeantToPassDo) {
  RandomSceneOptions options;
  options.broken = options.dirty = options.ungradable = options.clean = 0;
  size_t features = 0;
  for (std::uint64_t seed = 1; seed <= 150; ++seed) {
    const auto scene = RandomScene(seed, options);
    EXPECT_FALSE(VerdictOf(*scene).fails) << "seed " << seed;
    features += scene->features.size();
  }
  EXPECT_GT(features, 300U);  // and are not merely clean
}

TEST(RandomScene, UnknownNamesAreRefusedWithTheKnownOnes) {
  RandomSceneOptions options;
  options.preset = "spotless";
  EXPECT_THAT(RandomScene(1, options).error().Text(), HasSubstr("clean, typical, faulty"));
  options.preset.clear();
  options.camera = "telescope";
  EXPECT_THAT(RandomScene(1, options).error().Text(), HasSubstr("probe, wide-probe"));
  options.camera.clear();
  options.limits_id = "best";
  EXPECT_THAT(RandomScene(1, options).error().Text(), HasSubstr("sm-upc"));
}

bool IsDamage(FeatureShape shape) {
  return shape == FeatureShape::kScratch || shape == FeatureShape::kPit ||
         shape == FeatureShape::kChip || shape == FeatureShape::kCrack;
}

TEST(RandomPair, IsOneFaceOfWhichDamageStaysAndEveryFeatureHasAFate) {
  std::set<TrueFate> fates;
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    const auto pair = RandomPair(seed);
    ASSERT_TRUE(pair.ok());
    EXPECT_EQ(pair->before.seed, pair->after.seed);  // of its grain
    EXPECT_EQ(pair->before.face.grain_size_um, pair->after.face.grain_size_um);
    EXPECT_NE(pair->before.camera.shot, pair->after.camera.shot);
    EXPECT_EQ(pair->same_camera, pair->before.camera.unit == pair->after.camera.unit);
    EXPECT_FALSE(pair->after.Problem()) << "seed " << seed << *pair->after.Problem();
    std::set<std::size_t> before;
    std::set<std::size_t> after;
    for (const FeatureTruth& each : pair->fates) {
      fates.insert(each.fate);
      EXPECT_EQ(each.before.has_value(), each.fate != TrueFate::kNew);
      EXPECT_EQ(each.after.has_value(), each.fate != TrueFate::kGone);
      if (each.before) before.insert(*each.before);
      if (each.after) after.insert(*each.after);
      if (each.before && IsDamage(pair->before.features[*each.before].shape)) {
        EXPECT_EQ(each.fate, TrueFate::kStays) << "seed " << seed;
      }
    }
    EXPECT_EQ(before.size(), pair->before.features.size());
    EXPECT_EQ(after.size(), pair->after.features.size());
  }
  EXPECT_EQ(fates.size(), 4U);
  EXPECT_EQ(PairJson(*RandomPair(7)), PairJson(*RandomPair(7)));
}

}  // namespace
}  // namespace endgrade
