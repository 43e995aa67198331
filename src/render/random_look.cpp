#include "render/random_look.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

double ViewHeight(const SceneCamera& camera) {
  const double h = camera.height_px * camera.um_per_px * camera.pixel_aspect;
  const double round = camera.mask_diameter > 0 ? camera.mask_diameter * h : h;
  return std::min({h, round, camera.width_px * camera.um_per_px});
}

void AddFaults(Random& random, const RuleTable& table, SceneCamera& camera) {
  if (random.Chance(0.15)) camera.lens_dirt = random.Int(1, 6);
  if (random.Chance(0.1)) camera.hot_pixels = random.Int(1, 4);
  if (random.Chance(0.4)) camera.light_slope = random.Uniform(0.05, 0.4);
  if (random.Chance(0.1)) camera.moire = random.Uniform(0.003, 0.012);
  if (random.Chance(0.1)) camera.tilt_deg = random.Uniform(2, 6);
  if (random.Chance(0.15)) camera.caption = "PORT " + std::to_string(random.Int(1, 48));
  if (random.Chance(0.03)) camera.reticle = true;
  if (random.Chance(0.3)) camera.sharpen += random.Uniform(0.1, 0.8);
  if (camera.jpeg_quality > 0) {
    camera.jpeg_quality = std::min(97, camera.jpeg_quality + random.Int(-12, 6));
  }
  if (camera.colour == ColourMode::kColour) {
    for (int c = 0; c < 3; ++c) camera.tint_bgr[c] *= random.Uniform(0.9, 1.1);
  }
  camera.defocus_um = random.Normal() * 0.5;
  camera.full_well_e *= random.LogUniform(0.7, 1.4);
  // An angled face that is not quite square to the lens runs out of focus to one side.
  if (table.angled && random.Chance(0.4)) camera.focus_slope = random.Uniform(0.005, 0.03);
  camera.focus_slope_direction_deg = random.Uniform(0, 360);
  camera.tilt_direction_deg = random.Uniform(0, 180);
  camera.light_direction_deg = random.Uniform(0, 360);
}

}  // namespace

SceneFibre RandomFibre(Random& random, const RuleTable& table) {
  SceneFibre fibre;
  const double look = random.Uniform();
  fibre.core_look = look < 0.45 ? CoreLook::kPlain : look < 0.75 ? CoreLook::kLit : CoreLook::kDark;
  const double error_um = table.single_mode ? 0.25 : 0.6;
  fibre.core_offset_um = {random.Normal() * error_um * 0.5, random.Normal() * error_um * 0.5};
  if (table.single_mode) {
    fibre.core_diameter_um = random.Uniform(8.6, 9.6);
  } else {
    fibre.core_diameter_um = (random.Chance(0.6) ? 50.0 : 62.5) + random.Uniform(-1, 1);
  }
  switch (fibre.core_look) {
    case CoreLook::kPlain:
      fibre.core_contrast = random.Chance(0.35) ? 0.0 : random.Uniform(-0.08, 0.12);
      break;
    case CoreLook::kDark:
      fibre.core_contrast = -random.Uniform(0.15, 0.5);
      break;
    case CoreLook::kLit:
      fibre.core_contrast = random.Uniform(0.1, 0.4);
      break;
  }
  fibre.cladding_diameter_um = 125 + std::clamp(random.Normal() * 0.25, -0.7, 0.7);
  fibre.ovality = random.Uniform(0, 0.004);
  fibre.ovality_angle_deg = random.Uniform(0, 180);
  return fibre;
}

SceneFace RandomFace(Random& random, const RuleTable& table) {
  SceneFace face;
  face.glass_level = random.LogUniform(0.12, 0.5);
  // The ferrule may be brighter or darker than the glass, seldom the same.
  do {
    face.ferrule_level = random.LogUniform(0.08, 0.75);
  } while (std::abs(std::log(face.ferrule_level / face.glass_level)) < 0.15);
  const double ring = random.Uniform();
  face.adhesive = ring < 0.35   ? AdhesiveLook::kNone
                  : ring < 0.65 ? AdhesiveLook::kDark
                  : ring < 0.8  ? AdhesiveLook::kBright
                                : AdhesiveLook::kUneven;
  face.adhesive_width_um = random.LogUniform(0.5, 3.5);
  const double dark = std::min(face.glass_level, face.ferrule_level) * random.Uniform(0.15, 0.7);
  const double bright = std::max(face.glass_level, face.ferrule_level) * random.Uniform(1.1, 1.6);
  face.adhesive_level = face.adhesive == AdhesiveLook::kBright ? bright : dark;
  face.grain_rms = random.LogUniform(0.015, 0.09);
  face.grain_size_um = random.Uniform(0.5, 1.4);
  face.lines_rms = random.Chance(0.4) ? random.Uniform(0.008, 0.03) : 0;
  face.lines_angle_deg = random.Uniform(0, 180);
  if (table.angled) face.slope_deg = random.Uniform(7.5, 8.5);
  face.slope_direction_deg = random.Uniform(0, 180);
  return face;
}

SceneCamera RandomHands(Random& random, SceneCamera camera, const RuleTable& table, bool faults) {
  camera.um_per_px *= random.LogUniform(0.85, 1.25);
  if (faults) AddFaults(random, table, camera);
  const double needed_um = 2 * table.RuledRadius() + 6;
  camera.um_per_px *= std::max(1.0, needed_um / ViewHeight(camera));
  camera.rotation_deg = random.Uniform(0, 360);
  const double slack_px = 0.5 * (ViewHeight(camera) - needed_um) / camera.um_per_px;
  const double reach = slack_px * std::sqrt(random.Uniform()) * 0.9;
  const double angle = random.Uniform(0, 2 * std::numbers::pi);
  camera.centre_offset_px = {reach * std::cos(angle), reach * std::sin(angle)};
  return camera;
}

void SetExposure(Random& random,
                 const SceneFibre& fibre,
                 const SceneFace& face,
                 SceneCamera& camera) {
  double brightest = std::max(face.glass_level, face.ferrule_level * (1 + 3 * face.grain_rms));
  if (fibre.core_look == CoreLook::kLit) {
    brightest = std::max(brightest, face.glass_level + fibre.core_contrast);
  }
  if (fibre.core_contrast > 0 && fibre.core_look == CoreLook::kPlain) {
    brightest = std::max(brightest, face.glass_level * (1 + fibre.core_contrast));
  }
  const double tint = camera.colour == ColourMode::kColour
                          ? std::max({camera.tint_bgr[0], camera.tint_bgr[1], camera.tint_bgr[2]})
                          : 1.0;
  const double most = brightest * tint * (1 + camera.light_slope / 2);
  camera.exposure = random.Uniform(0.5, 0.85) / most;
}

void SpoilPhotograph(Random& random, SceneDescription& scene) {
  SceneCamera& camera = scene.camera;
  switch (random.Int(0, 6)) {
    case 0:
      camera.defocus_um = (random.Chance(0.5) ? 1 : -1) * random.Uniform(12, 30);
      break;
    case 1: {  // the fibre lies at the border
      const bool sideways = random.Chance(0.5);
      const double half = 0.5 * (sideways ? camera.width_px : camera.height_px);
      const double off =
          (random.Chance(0.5) ? 1 : -1) * (half - random.Uniform(-20, 60) / camera.um_per_px);
      (sideways ? camera.centre_offset_px.x : camera.centre_offset_px.y) = off;
      break;
    }
    case 2:
      scene.fibre.present = false;
      break;
    case 3:
      camera.exposure *= random.Uniform(4, 9);
      break;
    case 4:  // far too low a magnification
      camera.um_per_px = 125.0 / random.Uniform(22, 44);
      if (camera.um_per_px > 3) camera.um_per_px = 3;
      camera.centre_offset_px = {};
      break;
    case 5:  // hardly any light
      camera.exposure *= random.Uniform(0.002, 0.006);
      break;
    default:  // the outer zone does not fit: magnification too high
      camera.um_per_px *= random.Uniform(0.45, 0.75);
      break;
  }
}

}  // namespace endgrade::render
