#include "endgrade/render.h"
#include "render/random_features.h"
#include "render/random_look.h"

#include <algorithm>
#include <array>

namespace endgrade {
namespace {

using render::Random;

// What a scene is about; the weights of RandomSceneOptions choose among them.
enum class Sort { kClean, kAllowed, kBroken, kDirty, kUngradable };

struct Preset {
  const char* name;
  std::array<double, 5> weights;  // by Sort
};

constexpr std::array<Preset, 5> kPresets{{
    {"clean", {1, 0, 0, 0, 0}},
    {"typical", {3, 4, 2, 0.3, 0}},
    {"faulty", {0, 0, 1, 0, 0}},
    {"filthy", {0, 0, 0, 1, 0}},
    {"ungradable", {0, 0, 0, 0, 1}},
}};

Sort Choose(Random& random, const std::array<double, 5>& weights) {
  double total = 0;
  for (const double w : weights) total += w;
  double at = random.Uniform(0, total);
  for (size_t i = 0; i < weights.size(); ++i) {
    at -= weights[i];
    if (at < 0) return static_cast<Sort>(i);
  }
  return Sort::kClean;
}

std::string AnyCamera(Random& random) {
  // The largest sensor takes a second to render, and adds little: seldom.
  const auto names = CameraNames();
  while (true) {
    const std::string& name =
        names[static_cast<size_t>(random.Int(0, static_cast<int>(names.size()) - 1))];
    if (name != "large" || random.Chance(0.1)) return name;
  }
}

void AddFeatures(Random& random,
                 Sort sort,
                 const render::RuleTable& table,
                 SceneDescription& scene) {
  render::FeatureMaker maker(random, table, scene);
  const auto allowed = [&](int most) {
    for (int i = random.Int(0, most); i > 0; --i) maker.AddAllowed();
  };
  switch (sort) {
    case Sort::kClean:
      break;
    case Sort::kAllowed:
      allowed(14);
      break;
    case Sort::kBroken: {
      const int last = static_cast<int>(table.rules.size()) - 1;
      maker.Break(table.rules[static_cast<size_t>(random.Int(0, last))]);
      if (random.Chance(0.6)) allowed(6);
      break;
    }
    case Sort::kDirty:
      for (int i = random.Int(1, 4); i > 0; --i) maker.AddMess();
      for (int i = random.Int(5, 60); i > 0; --i) {
        static constexpr const char* kZones[] = {"A", "B", "B", "C", "D", "D", "D", "D"};
        maker.AddDefect(kZones[random.Int(0, 7)], random.LogUniform(0.8, 9));
      }
      for (int i = random.Int(0, 6); i > 0; --i) {
        maker.AddScratch(random.Chance(0.5) ? "A" : "B", random.LogUniform(0.7, 4));
      }
      break;
    case Sort::kUngradable:
      if (random.Chance(0.5)) allowed(5);
      break;
  }
}

}  // namespace

std::vector<std::string> PresetNames() {
  std::vector<std::string> names;
  for (const Preset& preset : kPresets) names.emplace_back(preset.name);
  return names;
}

Result<SceneDescription> RandomScene(std::uint64_t seed, const RandomSceneOptions& options) {
  std::array<double, 5> weights{
      options.clean, options.allowed, options.broken, options.dirty, options.ungradable};
  if (!options.preset.empty()) {
    const auto* preset = std::find_if(kPresets.begin(), kPresets.end(), [&](const Preset& each) {
      return options.preset == each.name;
    });
    if (preset == kPresets.end()) {
      std::string known;
      for (const Preset& each : kPresets)
        known += std::string(known.empty() ? "" : ", ") + each.name;
      return Error{ErrorKind::kBadOption,
                   "",
                   0,
                   "preset \"" + options.preset + "\" is not known",
                   "Use one of " + known};
    }
    weights = preset->weights;
  }
  Random random(render::SubSeed(seed, 100));
  SceneDescription scene;
  scene.seed = seed;
  const auto ids = render::TableIds();
  const std::string& any_id =
      ids[static_cast<size_t>(random.Int(0, static_cast<int>(ids.size()) - 1))];
  scene.limits_id = options.limits_id.empty() ? any_id : options.limits_id;
  const render::RuleTable* table = render::FindTable(scene.limits_id);
  if (table == nullptr) return Error{ErrorKind::kBadOption, "", 0, *scene.Problem(), ""};
  const std::string any_camera = AnyCamera(random);
  const auto camera = FindCamera(options.camera.empty() ? any_camera : options.camera);
  if (!camera.ok()) return camera.error();
  const Sort sort = Choose(random, weights);
  const bool faults = !random.Chance(options.easy_camera);
  scene.fibre = render::RandomFibre(random, *table);
  scene.face = render::RandomFace(random, *table);
  scene.camera = render::RandomHands(random, *camera, *table, faults);
  render::SetExposure(random, scene.fibre, scene.face, scene.camera);
  AddFeatures(random, sort, *table, scene);
  if (sort == Sort::kUngradable) render::SpoilPhotograph(random, scene);
  return scene;
}

}  // namespace endgrade
