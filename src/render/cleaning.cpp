#include "endgrade/render.h"
#include "render/random_features.h"
#include "render/random_look.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade {
namespace {

using render::Random;

// What a cleaning does to what it can move; common practice, no source. Damage always stays.
constexpr double kStays = 0.2;
constexpr double kIsMoved = 0.1;
constexpr double kIsSmeared = 0.06;
constexpr double kLeastSmeared_um = 2.5;

bool IsDamage(FeatureShape shape) {
  return shape == FeatureShape::kScratch || shape == FeatureShape::kPit ||
         shape == FeatureShape::kChip || shape == FeatureShape::kCrack;
}

void Move(Random& random, SceneFeature& feature) {
  const double far_um = random.Uniform(6, 18);
  const double angle = random.Uniform(0, 2 * std::numbers::pi);
  feature.centre_um += cv::Point2d(far_um * std::cos(angle), far_um * std::sin(angle));
}

// Drawn out along the wipe and thinner for it.
void Smear(Random& random, SceneFeature& feature) {
  // What is hardly larger than the light's own blur looks much the same drawn out.
  if (render::IsLine(feature.shape) || feature.diameter_um < kLeastSmeared_um) {
    return Move(random, feature);
  }
  const double longer = random.Uniform(2, 3);
  feature.elongation = std::min(6.0, feature.elongation * longer);
  feature.diameter_um = std::min(300.0, feature.diameter_um * random.Uniform(1.3, 1.7));
  feature.contrast *= 0.7;
  feature.rim_contrast *= 0.7;
  feature.opacity *= 0.5;
}

// Another photograph with the same camera: the connector was out and is back.
SceneCamera SameCamera(Random& random, const SceneCamera& before, const SceneCamera& placed) {
  SceneCamera camera = before;
  camera.rotation_deg =
      random.Chance(0.5) ? before.rotation_deg + random.Uniform(-20, 20) : placed.rotation_deg;
  camera.rotation_deg = std::remainder(camera.rotation_deg, 360.0);
  const double reach_px = cv::norm(before.centre_offset_px - placed.centre_offset_px);
  const double angle = random.Uniform(0, 2 * std::numbers::pi);
  const double far_px = std::min(reach_px, 40.0) * random.Uniform();
  // No farther out than it was: the ruled zones stay in view.
  const cv::Point2d moved =
      before.centre_offset_px + far_px * cv::Point2d(std::cos(angle), std::sin(angle));
  const double shorter =
      std::min(1.0, cv::norm(before.centre_offset_px) / std::max(1e-9, cv::norm(moved)));
  camera.centre_offset_px = moved * shorter;
  camera.defocus_um = random.Normal() * 0.5;
  camera.exposure *= random.Uniform(0.8, 1.1);
  camera.light_slope = std::max(0.0, camera.light_slope + random.Normal() * 0.03);
  return camera;
}

void AddNew(Random& random, const render::RuleTable& table, ScenePair& pair) {
  render::FeatureMaker maker(random, table, pair.after);
  static constexpr const char* kZones[] = {"A", "B", "B", "C", "D", "D"};
  for (int i = random.Int(0, 3); i > 0; --i) {
    const std::string zone = kZones[random.Int(0, 5)];
    const bool added = random.Chance(0.2) ? maker.AddScratch(zone, random.LogUniform(0.8, 2.5))
                                          : maker.AddDefect(zone, random.LogUniform(1.5, 8));
    if (added) pair.fates.push_back({TrueFate::kNew, std::nullopt, pair.after.features.size() - 1});
  }
}

}  // namespace

Result<ScenePair> RandomPair(std::uint64_t seed, const RandomSceneOptions& options) {
  Random random(render::SubSeed(seed, 200));
  RandomSceneOptions dirty = options;
  if (dirty.preset.empty()) {  // a face that nobody would clean has little to compare
    dirty.clean = 0.3;
    dirty.ungradable = 0;
  }
  auto before = RandomScene(seed, dirty);
  if (!before.ok()) return before.error();
  ScenePair pair;
  pair.before = *std::move(before);
  pair.before.camera.unit = 1 + random.Bits() % 1000000;
  pair.before.camera.shot = 1;
  pair.after = pair.before;
  const render::RuleTable& table = *render::FindTable(pair.before.limits_id);

  pair.same_camera = random.Chance(0.6);
  const auto names = CameraNames();
  std::string name = pair.before.camera.name;
  while (!pair.same_camera && (name == pair.before.camera.name || name == "large")) {
    name = names[static_cast<std::size_t>(random.Int(0, static_cast<int>(names.size()) - 1))];
  }
  const auto base = FindCamera(name);
  if (!base.ok()) return base.error();
  SceneCamera placed = render::RandomHands(random, *base, table, options.easy_camera < 1);
  if (pair.same_camera) {
    pair.after.camera = SameCamera(random, pair.before.camera, placed);
  } else {
    pair.after.camera = placed;
    pair.after.camera.unit = pair.before.camera.unit + 1;
    render::SetExposure(random, pair.after.fibre, pair.after.face, pair.after.camera);
  }
  pair.after.camera.shot = 2;

  pair.after.features.clear();
  for (std::size_t i = 0; i < pair.before.features.size(); ++i) {
    SceneFeature feature = pair.before.features[i];
    const double chance = IsDamage(feature.shape) ? 0.0 : random.Uniform();
    TrueFate fate = TrueFate::kStays;
    if (chance >= kStays + kIsMoved + kIsSmeared) {
      pair.fates.push_back({TrueFate::kGone, i, std::nullopt});
      continue;
    }
    if (chance >= kStays) {
      fate = TrueFate::kMoved;
      chance < kStays + kIsMoved ? Move(random, feature) : Smear(random, feature);
    }
    pair.after.features.push_back(feature);
    pair.fates.push_back({fate, i, pair.after.features.size() - 1});
  }
  AddNew(random, table, pair);
  return pair;
}

}  // namespace endgrade
