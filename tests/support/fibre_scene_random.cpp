// Random scenes: what is drawn for each seed.
#include "tests/support/fibre_scene.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <random>

namespace endgrade::testing {
namespace {

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed * 0xD1342543DE82EF95ULL + 13) {}
  double Unit() { return static_cast<double>(engine_() >> 11U) * 0x1.0p-53; }
  double In(double low, double high) { return low + (high - low) * Unit(); }
  double InLog(double low, double high) { return std::exp(In(std::log(low), std::log(high))); }
  bool Chance(double share) { return Unit() < share; }
  int Int(int low, int high) { return low + static_cast<int>(Unit() * (high - low + 1)); }
  std::uint64_t Raw() { return engine_(); }

 private:
  std::mt19937_64 engine_;
};

cv::Size RandomSize(Dice& dice) {
  static const std::array<cv::Size, 10> kSizes = {cv::Size(640, 480),
                                                  {640, 480},
                                                  {800, 600},
                                                  {1280, 720},
                                                  {1280, 1024},
                                                  {1600, 1200},
                                                  {1920, 1080},
                                                  {1920, 1080},
                                                  {2592, 1944},
                                                  {320, 240}};
  return kSizes[static_cast<size_t>(dice.Int(0, 9))];
}

// Any order of brightness, but each border with at least `least` between its sides.
void PickLevels(Dice& dice, FibreTruth* truth) {
  do {
    truth->ferrule = dice.In(25, 225);
    truth->cladding = dice.In(25, 225);
  } while (std::abs(truth->ferrule - truth->cladding) < 12);
  do {
    truth->core_level = dice.In(10, 250);
  } while (std::abs(truth->core_level - truth->cladding) < 15);
  truth->ring_um = dice.Chance(0.5) ? dice.InLog(0.6, 6.0) : 0.0;
  if (truth->ring_um > 0) {
    const bool dark = dice.Chance(0.7);
    const double low = std::min(truth->ferrule, truth->cladding);
    const double high = std::max(truth->ferrule, truth->cladding);
    truth->ring_level = dark ? low * dice.In(0.1, 0.75) : high + (255 - high) * dice.In(0.3, 1.0);
    if (std::abs(truth->ring_level - truth->cladding) < 12) truth->ring_um = 0;
  }
}

void PickNuisance(Dice& dice, const Scene& scene, Nuisance* n) {
  const double um_per_px = scene.truth.um_per_px;
  const double contrast = std::abs(scene.truth.ferrule - scene.truth.cladding);
  n->seed = dice.Raw();
  if (dice.Chance(0.35)) n->hidden_fraction = dice.In(0.05, 0.4);
  if (dice.Chance(0.3)) n->chips = dice.Int(1, 6);
  if (dice.Chance(0.5)) n->scratches = dice.Int(1, 8);
  if (dice.Chance(0.6)) n->specks = dice.Int(1, 40);
  if (dice.Chance(0.2)) n->droplets = dice.Int(1, 4);
  if (dice.Chance(0.2)) n->films = dice.Int(1, 3);
  n->grain = dice.Chance(0.7) ? dice.In(0.5, std::min(14.0, 0.3 * contrast)) : 0.0;
  n->grain_um = dice.InLog(0.5, 4.0);
  if (dice.Chance(0.6)) n->light_slope = dice.In(0, 0.8);
  n->light_axis_deg = dice.In(0, 360);
  if (dice.Chance(0.5)) n->vignetting = dice.In(0, 0.6);
  n->blur_um = dice.Chance(0.15) ? dice.In(1.5, 3.0) : dice.In(0.3, 1.5);
  n->blur_um = std::max(n->blur_um, 0.35 * um_per_px);
  const double radius_px = scene.truth.RadiusPx();
  if (dice.Chance(0.12)) {
    n->mask_centre_px = cv::Point2d(0.5 * scene.size.width, 0.5 * scene.size.height) +
                        cv::Point2d(dice.In(-0.03, 0.03), dice.In(-0.03, 0.03)) * scene.size.height;
    const cv::Point2d off = scene.truth.centre_px - n->mask_centre_px;
    n->mask_radius_px = std::max(dice.In(0.45, 0.62) * scene.size.height,
                                 1.25 * radius_px + std::hypot(off.x, off.y));
  }
  if (dice.Chance(0.2)) n->reticle = dice.Int(1, 3);
  n->text = dice.Chance(0.2);
  if (dice.Chance(0.35)) n->sharpen = dice.In(0.2, 1.5);
  n->sharpen_px = dice.In(0.8, 2.5);
  n->noise = dice.InLog(0.4, std::min(10.0, 0.3 * contrast));
  n->shot = dice.Chance(0.5) ? dice.In(0, 5) : 0.0;
  if (dice.Chance(0.05)) n->interlace_px = dice.In(0.3, 1.5);
  if (dice.Chance(0.05)) n->moire = dice.In(0.5, 4);
  if (dice.Chance(0.1)) n->gain = dice.In(1.1, 1.6);
  if (dice.Chance(0.3)) n->gamma = dice.In(0.6, 1.6);
  if (dice.Chance(0.6)) n->jpeg_quality = dice.Int(45, 97);
}

}  // namespace

Scene RandomFibreScene(std::uint64_t seed) {
  Dice dice(seed);
  Scene scene;
  scene.size = RandomSize(dice);
  FibreTruth& truth = scene.truth;
  PickLevels(dice, &truth);
  const double shortest = std::min(scene.size.width, scene.size.height);
  const double diameter = dice.InLog(60.0, std::min(1800.0, 0.9 * shortest));
  truth.cladding_diameter_um = dice.In(124.3, 125.7);
  truth.um_per_px = truth.cladding_diameter_um / diameter;
  if (dice.Chance(0.3)) truth.aspect = dice.In(0.95, 1.05);
  if (dice.Chance(0.2)) truth.tilt_deg = dice.In(0, 8.5);
  truth.tilt_axis_deg = dice.In(0, 180);
  // Somewhere in the picture; now and then partly out of it.
  const double room = (dice.Chance(0.1) ? 0.75 : 1.06) * 0.5 * diameter;
  const auto place = [&](double side) {
    return 2.0 * room < side ? dice.In(room, side - room) : 0.5 * side + dice.In(-5, 5);
  };
  truth.centre_px = {place(scene.size.width), place(scene.size.height)};
  const int kind = dice.Int(0, 9);
  truth.core = kind < 2   ? CoreKind::kNone
               : kind < 7 ? CoreKind::kSingleMode
               : kind < 9 ? CoreKind::kMultimode50
                          : CoreKind::kMultimode62;
  const double off = truth.core == CoreKind::kSingleMode ? 0.6 : 1.5;
  const double where = dice.In(0, 2 * CV_PI);
  const double far = dice.In(0, off);
  truth.core_offset_um = {far * std::cos(where), far * std::sin(where)};
  if (diameter < 0.09 * shortest) truth.ferrule_edge_um = dice.Chance(0.5) ? 1250.0 : 2500.0;
  PickNuisance(dice, scene, &scene.nuisance);
  return scene;
}

Scene RandomEmptyScene(std::uint64_t seed) {
  Scene scene = RandomFibreScene(seed + 7000001);
  Dice dice(seed + 991);
  scene.truth.present = false;
  scene.truth.ferrule_edge_um = 0;
  Nuisance& n = scene.nuisance;
  n.hidden_fraction = 0;
  n.chips = 0;
  n.mask_radius_px = 0;
  n.reticle = 0;
  n.text = false;
  n.droplets = 0;
  const cv::Point2d middle(0.5 * scene.size.width, 0.5 * scene.size.height);
  const int kind = dice.Int(0, 9);
  switch (kind) {
    case 0:
      scene.kind = "uniform";
      n.grain = n.scratches = n.specks = n.films = 0;
      break;
    case 1:
      scene.kind = "noise";
      n.noise = dice.In(5, 60);
      n.grain = n.scratches = n.specks = n.films = 0;
      break;
    case 2:
      scene.kind = "ferrule grain";
      n.grain = dice.In(4, 25);
      break;
    case 3:
      scene.kind = "text";
      n.text = true;
      break;
    case 4:
      scene.kind = "out of focus";
      n.blur_um = dice.In(8, 30);
      n.grain = dice.In(10, 60);
      break;
    case 5:
      scene.kind = "reticle";
      n.reticle = dice.Int(1, 3);
      break;
    case 6:
      scene.kind = "mask";
      n.mask_centre_px = middle;
      n.mask_radius_px = dice.In(0.35, 0.62) * scene.size.height;
      break;
    case 7:
      scene.kind = "droplets";
      n.droplets = dice.Int(1, 5);
      break;
    case 8:
      scene.kind = "scratched metal";
      n.scratches = dice.Int(20, 80);
      break;
    default:
      scene.kind = "cloudy";
      n.grain = dice.In(10, 60);
      n.grain_um = dice.InLog(5, 40);
      break;
  }
  return scene;
}

std::string Describe(const Scene& scene) {
  const FibreTruth& t = scene.truth;
  const Nuisance& n = scene.nuisance;
  char text[512];
  std::snprintf(text,
                sizeof text,
                "%dx%d d=%.0f c=(%.0f,%.0f) asp=%.3f tilt=%.1f fer=%.0f cl=%.0f core%d=%.0f "
                "ring=%.1f@%.0f blur=%.2f(%.1fpx) grain=%.1f/%.1f hid=%.2f chips=%.0f "
                "slope=%.2f vig=%.2f mask=%.0f ret=%d text=%d sharp=%.1f/%.1f noise=%.1f/%.1f "
                "gain=%.2f gam=%.2f jpg=%d int=%.1f moire=%.1f drop=%d film=%d fedge=%.0f %s",
                scene.size.width,
                scene.size.height,
                2 * t.RadiusPx(),
                t.centre_px.x,
                t.centre_px.y,
                t.aspect,
                t.tilt_deg,
                t.ferrule,
                t.cladding,
                static_cast<int>(t.core),
                t.core_level,
                t.ring_um,
                t.ring_level,
                n.blur_um,
                n.blur_um / t.um_per_px,
                n.grain,
                n.grain_um,
                n.hidden_fraction,
                n.chips,
                n.light_slope,
                n.vignetting,
                n.mask_radius_px,
                n.reticle,
                n.text ? 1 : 0,
                n.sharpen,
                n.sharpen_px,
                n.noise,
                n.shot,
                n.gain,
                n.gamma,
                n.jpeg_quality,
                n.interlace_px,
                n.moire,
                n.droplets,
                n.films,
                t.ferrule_edge_um,
                scene.kind.c_str());
  return text;
}

}  // namespace endgrade::testing
