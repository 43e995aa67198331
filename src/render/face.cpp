#include "render/face.h"

#include "render/shape.h"

#include <opencv2/core/utility.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

// Zirconia's grain shows as a fine and a coarser texture; shares of the power, common practice.
constexpr double kFineShare = 0.85;
constexpr double kCoarseStep = 3.1;

}  // namespace

Face::Face(const SceneDescription& scene)
    : fibre_(scene.fibre),
      face_(scene.face),
      gap_direction_(Random(SubSeed(scene.seed, 10)).Uniform(0, 2 * std::numbers::pi)) {
  const double step = face_.grain_size_um;
  const auto add = [&](std::vector<Texture>& to, std::uint64_t stream, double rms) {
    if (rms <= 0) return;
    to.emplace_back(
        SubSeed(scene.seed, stream), rms * std::sqrt(kFineShare), cv::Point2d(step, step), 0);
    to.emplace_back(SubSeed(scene.seed, stream + 1),
                    rms * std::sqrt(1 - kFineShare),
                    cv::Point2d(step, step) * kCoarseStep,
                    30);
  };
  add(grain_, 11, face_.grain_rms);
  add(glass_grain_, 13, face_.glass_grain_rms);
  if (face_.lines_rms > 0) {
    lines_.emplace_back(
        SubSeed(scene.seed, 15), face_.lines_rms, cv::Point2d(140, 0.6), face_.lines_angle_deg);
  }
}

double Face::FerruleSpectrum(cv::Point2d f) const {
  double power = 0;
  for (const Texture& texture : grain_) power += texture.Spectrum(f);
  for (const Texture& texture : lines_) power += texture.Spectrum(f);
  return power;
}

double Face::GlassSpectrum(cv::Point2d f) const {
  double power = 0;
  for (const Texture& texture : glass_grain_) power += texture.Spectrum(f);
  return power;
}

double Face::RimRadius(double angle) const {
  const double mean = fibre_.cladding_diameter_um / 2;
  const double oval = 0.5 * fibre_.ovality *
                      std::cos(2 * (angle - fibre_.ovality_angle_deg * std::numbers::pi / 180));
  if (face_.slope_deg == 0) return mean * (1 + oval);
  // Cut at a slope, the round fibre's outline is longer along it by 1 / cos.
  const double along = angle - face_.slope_direction_deg * std::numbers::pi / 180;
  const double shorter = std::cos(face_.slope_deg * std::numbers::pi / 180);
  return mean * (1 + oval) / std::hypot(std::cos(along) * shorter, std::sin(along));
}

double Face::AdhesiveWidth(double angle) const {
  if (face_.adhesive == AdhesiveLook::kNone) return 0;
  const double eccentric = face_.adhesive == AdhesiveLook::kUneven ? 0.75 : 0.15;
  return face_.adhesive_width_um * (1 + eccentric * std::cos(angle - gap_direction_));
}

double Face::Core(cv::Point2d p, double glass, double footprint_um) const {
  const double rho = cv::norm(p - fibre_.core_offset_um);
  const double radius = fibre_.core_diameter_um / 2;
  if (fibre_.core_look == CoreLook::kLit && radius < 15) {
    // One mode: a Gaussian, the core's diameter between its 1/e^2 points.
    return fibre_.core_contrast * std::exp(-2 * (rho / radius) * (rho / radius));
  }
  if (rho > radius + footprint_um) return 0;
  const double share = EdgeCover(radius - rho, footprint_um);
  if (fibre_.core_look == CoreLook::kLit) {
    const double profile = 1 - 0.35 * std::pow(std::min(rho / radius, 1.0), 2);
    return share * fibre_.core_contrast * profile;
  }
  return share * glass * fibre_.core_contrast;
}

double Face::Ferrule(cv::Point2d p) const {
  double texture = 0;
  for (const Texture& each : grain_) texture += each.At(p);
  for (const Texture& each : lines_) texture += each.At(p);
  return face_.ferrule_level * std::max(0.05, 1 + texture);
}

double Face::Adhesive(double angle, double glass, double ferrule) const {
  if (face_.adhesive != AdhesiveLook::kUneven) return face_.adhesive_level;
  const double mottle =
      0.5 + 0.5 * std::sin(3 * angle + gap_direction_) * std::sin(7 * angle + 2 * gap_direction_);
  return face_.adhesive_level * mottle + 0.5 * (glass + ferrule) * (1 - mottle);
}

double Face::Light(cv::Point2d p, double footprint_um) const {
  const double rho = std::sqrt(p.dot(p));
  const double glass_only = fibre_.cladding_diameter_um / 2 * 0.97 - footprint_um;
  double glass = face_.glass_level;
  for (const Texture& each : glass_grain_) glass *= 1 + each.At(p);
  if (fibre_.present && rho < glass_only) return glass + Core(p, glass, footprint_um);
  if (!fibre_.present) return Ferrule(p);
  const double rim_most = 1.04 * (fibre_.cladding_diameter_um / 2 + 2 * face_.adhesive_width_um);
  if (rho > rim_most + footprint_um) return Ferrule(p);
  const double angle = std::atan2(p.y, p.x);
  const double rim = RimRadius(angle);
  const double ring = AdhesiveWidth(angle);
  const double in_glass = EdgeCover(rim - rho, footprint_um);
  const double in_hole = EdgeCover(rim + ring - rho, footprint_um);
  const double ferrule = in_hole < 1 ? Ferrule(p) : face_.ferrule_level;
  const double adhesive = Adhesive(angle, face_.glass_level, face_.ferrule_level);
  return in_glass * (glass + Core(p, glass, footprint_um)) + (in_hole - in_glass) * adhesive +
         (1 - in_hole) * ferrule;
}

cv::Mat Face::Paint(const SubGrid& grid) const {
  cv::Mat light(grid.size, CV_32FC1);
  cv::parallel_for_(cv::Range(0, grid.size.height), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y) {
      float* row = light.ptr<float>(y);
      for (int x = 0; x < grid.size.width; ++x) {
        row[x] = static_cast<float>(Light(grid.UmAt(x, y), grid.footprint_um));
      }
    }
  });
  return light;
}

}  // namespace endgrade::render
