#include "render/random_features.h"

#include "render/shape.h"
#include "render/truth.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

constexpr int kTries = 40;
constexpr double kClearance_um = 4.0;  // between compact features, wider than any sharp blur

cv::Point2d Polar(double radius, double angle) {
  return {radius * std::cos(angle), radius * std::sin(angle)};
}

double Degrees(double angle) { return std::remainder(angle * 180 / std::numbers::pi, 360.0); }

}  // namespace

FeatureMaker::FeatureMaker(Random& random, const RuleTable& table, SceneDescription& scene)
    : random_(random), table_(table), scene_(scene) {
  for (const SceneFeature& feature : scene.features) {
    const auto shape = MakeShape(feature, scene.fibre);
    placed_.push_back({shape->Outline(), SmallestCircle(shape->Outline())});
    true_features_.push_back(MeasureFeature(scene, SubGrid{}, table, feature, *shape));
  }
}

std::pair<double, double> FeatureMaker::ZoneRadii(const std::string& name) const {
  double inner = 0;
  for (const TableZone& zone : table_.zones) {
    if (zone.name == name) return {inner, zone.outer_radius_um};
    inner = zone.outer_radius_um;
  }
  return {inner, inner + 30};
}

double FeatureMaker::RandomContrast(double faintest) {
  if (random_.Chance(0.72)) return -random_.LogUniform(faintest, 0.9);
  return random_.LogUniform(faintest * 1.3, 1.8);
}

SceneFeature FeatureMaker::Compact(double size_um) {
  SceneFeature f;
  const double kind = random_.Uniform();
  f.shape = kind < 0.5   ? FeatureShape::kSpeck
            : kind < 0.7 ? FeatureShape::kPit
                         : FeatureShape::kParticle;
  f.contrast = RandomContrast(0.3);
  f.irregularity = random_.Uniform(0.02, 0.2);
  f.elongation = random_.Chance(0.3) ? random_.Uniform(1, 1.8) : 1;
  f.angle_deg = random_.Uniform(0, 180);
  f.diameter_um = size_um;
  if (f.shape == FeatureShape::kPit) {
    f.contrast = -random_.Uniform(0.4, 0.9);
    f.rim_contrast = random_.Uniform(0.2, 1.2);
  } else if (f.shape == FeatureShape::kParticle) {
    f.rim_contrast = -random_.Uniform(0.4, 0.9);
    f.contrast = random_.Uniform(-0.5, 0.9);
    f.opacity = random_.Uniform(0.6, 1);
  } else if (f.contrast < 0) {
    f.opacity = random_.Uniform(0, 0.7);
  }
  if (size_um > 9 && random_.Chance(0.25)) {
    f.shape = FeatureShape::kDroplet;
    f.contrast = random_.Uniform(-0.12, -0.04);
    f.rim_contrast = -random_.Uniform(0.25, 0.6);
    f.width_um = random_.Uniform(1, 2.5);
    f.elongation = 1;
    f.irregularity = random_.Uniform(0.01, 0.08);
    f.opacity = 0;
  }
  return f;
}

SceneFeature FeatureMaker::Long(double size_um) {
  SceneFeature f;
  f.shape = size_um > 90 && random_.Chance(0.4) ? FeatureShape::kHair : FeatureShape::kLint;
  f.length_um = size_um;
  f.width_um = f.shape == FeatureShape::kHair ? random_.Uniform(18, 45) : random_.Uniform(6.5, 12);
  f.bend_per_um = random_.Normal() * 0.004;
  f.contrast = -random_.Uniform(0.35, 0.75);
  f.rim_contrast = random_.Uniform(-0.2, 0.8);
  f.opacity = random_.Uniform(0.7, 1);
  f.angle_deg = random_.Uniform(0, 360);
  return f;
}

bool FeatureMaker::IsClear(const SceneFeature& feature, const Shape& shape) const {
  const auto outline = shape.Outline();
  const bool is_line = IsLine(feature.shape);
  const Circle own = SmallestCircle(outline);
  for (size_t i = 0; i < placed_.size(); ++i) {
    const SceneFeature& other = scene_.features[i];
    if (feature.shape == FeatureShape::kScratch && other.shape == FeatureShape::kScratch) continue;
    const Placed& there = placed_[i];
    const double reach = own.radius + there.around.radius + kClearance_um;
    if (cv::norm(own.centre - there.around.centre) > reach) continue;
    // One of the two as a circle, the other by its outline.
    const Circle& circle = is_line ? there.around : own;
    const auto& points = is_line ? outline : there.outline;
    const bool near = std::any_of(points.begin(), points.end(), [&](cv::Point2d p) {
      return cv::norm(p - circle.centre) < circle.radius + kClearance_um;
    });
    if (near) return false;
    // A line may pass a circle between two points of its outline.
    if (!is_line && !IsLine(other.shape)) continue;
    SceneFeature line = is_line ? feature : other;
    line.centre_um -= circle.centre;
    const double distance = MakeShape(line, scene_.fibre)->RadiusInner();
    if (distance < circle.radius + kClearance_um) return false;
  }
  return true;
}

void FeatureMaker::Keep(const SceneFeature& feature, const Shape& shape) {
  scene_.features.push_back(feature);
  placed_.push_back({shape.Outline(), SmallestCircle(shape.Outline())});
  true_features_.push_back(MeasureFeature(scene_, SubGrid{}, table_, feature, shape));
}

void FeatureMaker::DropLast() {
  scene_.features.pop_back();
  placed_.pop_back();
  true_features_.pop_back();
}

bool FeatureMaker::Accept(const SceneFeature& feature, const std::string& zone) {
  const auto shape = MakeShape(feature, scene_.fibre);
  if (table_.ZoneAt(shape->RadiusInner()) != zone || !IsClear(feature, *shape)) return false;
  Keep(feature, *shape);
  return true;
}

bool FeatureMaker::AddDefect(const std::string& zone, double size_um) {
  const auto [inner, outer] = ZoneRadii(zone);
  for (int i = 0; i < kTries; ++i) {
    SceneFeature f = size_um > 40 && random_.Chance(0.5) ? Long(size_um) : Compact(size_um);
    f.seed = random_.Bits() >> 16;
    // Its outline decides its true size: scale it to the wanted one.
    const double is = 2 * SmallestCircle(MakeShape(f, scene_.fibre)->Outline()).radius;
    (IsLine(f.shape) ? f.length_um : f.diameter_um) *= size_um / is;
    const double low = inner == 0 ? 0 : inner + size_um / 2 + 1;
    const double high = std::max(low, outer + size_um / 2 - 1.5);
    f.centre_um = Polar(random_.Uniform(low, high), random_.Uniform(0, 2 * std::numbers::pi));
    if (Accept(f, zone)) return true;
  }
  return false;
}

bool FeatureMaker::AddScratch(const std::string& zone, double width_um) {
  const auto [inner, outer] = ZoneRadii(zone);
  for (int i = 0; i < kTries; ++i) {
    SceneFeature f;
    f.shape = FeatureShape::kScratch;
    f.seed = random_.Bits() >> 16;
    f.width_um = width_um;
    f.length_um = random_.LogUniform(40, 260);
    f.contrast = RandomContrast(0.15);
    if (random_.Chance(0.6)) f.fade_um = f.length_um * random_.Uniform(0.05, 0.3);
    if (random_.Chance(0.25)) f.rim_contrast = -f.contrast * random_.Uniform(0.4, 1);
    f.contrast = std::clamp(f.contrast, -0.8, 1.5);
    f.rim_contrast = std::clamp(f.rim_contrast, -0.8, 1.5);
    if (random_.Chance(0.25)) f.bend_per_um = random_.Normal() * 0.003;
    if (random_.Chance(0.15)) {
      f.dash_um = random_.Uniform(8, 25);
      f.gap_um = f.dash_um * random_.Uniform(0.15, 0.5);
    }
    // Its nearest point to the centre lies in the zone, somewhere along it.
    const double low = inner == 0 ? 0 : inner + width_um / 2 + 1.5;
    const double near = random_.Uniform(low, std::max(low, outer + width_um / 2 - 1.5));
    const double angle = random_.Uniform(0, 2 * std::numbers::pi);
    const double slide = random_.Uniform(-0.35, 0.35) * f.length_um;
    f.centre_um = Polar(near, angle) + Polar(slide, angle + std::numbers::pi / 2);
    f.angle_deg = Degrees(angle + std::numbers::pi / 2);
    if (Accept(f, zone)) return true;
  }
  return false;
}

void FeatureMaker::AddAllowed() {
  static constexpr const char* kZones[] = {"A", "B", "B", "C", "D", "D", "D"};
  const std::string zone = kZones[random_.Int(0, 6)];
  const double rim = zone == "D" ? 12.0 : 4.0;
  if (random_.Chance(0.06)) {
    const size_t before = true_features_.size();
    AddChip(random_.Uniform(1.2, 3));
    if (true_features_.size() > before && CouldFail(true_features_, table_)) DropLast();
    return;
  }
  const bool added = random_.Chance(0.35) ? AddScratch(zone, random_.LogUniform(0.6, rim / 2))
                                          : AddDefect(zone, random_.LogUniform(0.8, rim));
  if (added && CouldFail(true_features_, table_)) DropLast();
}

void FeatureMaker::Break(const TableRule& rule) {
  const int count = rule.allowed + 1 + (random_.Chance(0.4) ? random_.Int(1, 3) : 0);
  double low = std::max(rule.low_um + (rule.scratch ? 1.1 : 1.2), rule.scratch ? 0.8 : 1.6);
  double high =
      std::isinf(rule.high_um) ? std::max(2.5 * rule.low_um, low + 5) : rule.high_um - 1.2;
  if (rule.scratch && std::isinf(rule.high_um)) high = low + 3;
  if (low > high) low = high = 0.5 * (rule.low_um + rule.high_um);
  for (int i = 0; i < count; ++i) {
    const double size = random_.LogUniform(low, high);
    if (rule.scratch) {
      AddScratch(rule.zone, size);
    } else {
      AddDefect(rule.zone, size);
    }
  }
}

void FeatureMaker::AddChip(double depth_um) {
  const double rim = scene_.fibre.cladding_diameter_um / 2;
  for (int i = 0; i < kTries; ++i) {
    SceneFeature f;
    f.shape = FeatureShape::kChip;
    f.seed = random_.Bits() >> 16;
    const double angle = random_.Uniform(0, 2 * std::numbers::pi);
    f.elongation = random_.Uniform(1.2, 3);
    f.diameter_um = 2 * depth_um * std::sqrt(f.elongation) / 1.15;
    f.angle_deg = Degrees(angle + std::numbers::pi / 2);  // its long axis lies along the rim
    f.irregularity = random_.Uniform(0.05, 0.15);
    f.contrast = random_.Chance(0.75) ? -random_.Uniform(0.4, 0.9) : random_.Uniform(0.4, 1.2);
    f.rim_contrast = f.contrast + random_.Uniform(0.2, 0.8);
    f.opacity = 0.6;
    f.centre_um = Polar(rim + 0.15 * depth_um, angle);
    const auto shape = MakeShape(f, scene_.fibre);
    if (shape->Outline().empty() || !IsClear(f, *shape)) continue;
    Keep(f, *shape);
    return;
  }
}

void FeatureMaker::AddCrack() {
  SceneFeature f;
  f.shape = FeatureShape::kCrack;
  f.seed = random_.Bits() >> 16;
  const double angle = random_.Uniform(0, 2 * std::numbers::pi);
  f.length_um = random_.Uniform(25, 90);
  f.width_um = random_.Uniform(0.7, 1.6);
  f.contrast = -random_.Uniform(0.4, 0.85);
  f.angle_deg = Degrees(angle + random_.Uniform(-1, 1));
  f.centre_um = Polar(random_.Uniform(20, 50), angle);
  const auto shape = MakeShape(f, scene_.fibre);
  if (IsClear(f, *shape)) Keep(f, *shape);
}

void FeatureMaker::AddMess() {
  SceneFeature f;
  f.seed = random_.Bits() >> 16;
  f.centre_um = Polar(random_.Uniform(0, 110), random_.Uniform(0, 2 * std::numbers::pi));
  f.angle_deg = random_.Uniform(0, 180);
  if (random_.Chance(0.12)) return AddChip(random_.LogUniform(3, 15));
  if (random_.Chance(0.08)) return AddCrack();
  const double kind = random_.Uniform();
  if (kind < 0.4) {
    f.shape = FeatureShape::kFilm;
    f.diameter_um = random_.LogUniform(25, 120);
    f.irregularity = random_.Uniform(0.08, 0.22);
    f.contrast = (random_.Chance(0.6) ? -1 : 1) * random_.Uniform(0.12, 0.3);
    f.rim_contrast = -random_.Uniform(0.2, 0.5);
    f.elongation = random_.Uniform(1, 1.8);
  } else if (kind < 0.6) {
    f.shape = FeatureShape::kFingerprint;
    f.diameter_um = random_.Uniform(80, 260);
    f.irregularity = 0.1;
    f.width_um = random_.Uniform(14, 40);
    f.contrast = -random_.Uniform(0.15, 0.4);
  } else if (kind < 0.8) {
    f.shape = FeatureShape::kDroplet;
    f.diameter_um = random_.LogUniform(12, 60);
    f.irregularity = random_.Uniform(0.01, 0.06);
    f.contrast = -0.1;
    f.rim_contrast = -random_.Uniform(0.25, 0.6);
    f.width_um = random_.Uniform(1.2, 3);
  } else {
    const cv::Point2d centre = f.centre_um;
    f = Long(random_.Uniform(50, 300));
    f.centre_um = centre;
    f.seed = random_.Bits() >> 16;
  }
  Keep(f, *MakeShape(f, scene_.fibre));
}

}  // namespace endgrade::render
