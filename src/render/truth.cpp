#include "render/truth.h"

#include "render/shape.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

// The picture's ellipse of a circle, or of an upright ellipse, of the end face.
Ellipse ImageOf(const SubGrid& grid, cv::Point2d centre_um, const cv::Matx22d& um_from_unit) {
  const cv::Matx22d px_from_unit = grid.um_from_px.inv() * um_from_unit;
  const cv::Matx22d m = px_from_unit * px_from_unit.t();
  const double mean = 0.5 * (m(0, 0) + m(1, 1));
  const double half = std::hypot(0.5 * (m(0, 0) - m(1, 1)), m(0, 1));
  double angle = 0.5 * std::atan2(2 * m(0, 1), m(0, 0) - m(1, 1)) * 180 / std::numbers::pi;
  if (angle < 0) angle += 180;
  return {grid.PxFromUm(centre_um), std::sqrt(mean + half), std::sqrt(mean - half), angle};
}

cv::Matx22d Stretch(double along, double across, double angle_deg) {
  const double angle = angle_deg * std::numbers::pi / 180;
  const cv::Matx22d turn(std::cos(angle), -std::sin(angle), std::sin(angle), std::cos(angle));
  return turn * cv::Matx22d(along, 0, 0, across) * turn.t();
}

bool InPicture(const SceneCamera& camera, cv::Point2d p) {
  const double right = camera.width_px - 0.5;
  const double bottom = camera.height_px - 0.5;
  if (p.x < -0.5 || p.y < -0.5 || p.x > right || p.y > bottom) return false;
  if (camera.mask_diameter <= 0) return true;
  const cv::Point2d d = p - cv::Point2d(0.5 * (camera.width_px - 1), 0.5 * (camera.height_px - 1));
  return 2 * std::hypot(d.x, d.y) <= camera.mask_diameter * camera.height_px;
}

// Compact features whose blurred outlines meet another's. Lines that cross stay two lines.
void NoteTouches(const std::vector<std::vector<cv::Point2d>>& outlines,
                 double reach_um,
                 std::vector<TrueFeature>& features) {
  for (size_t i = 0; i < features.size(); ++i) {
    if (features[i].width_um) continue;
    const double radius = features[i].diameter_enclosing_um / 2 + reach_um;
    for (size_t j = 0; j < features.size(); ++j) {
      if (i == j) continue;
      const bool near = cv::norm(features[i].centre_um - features[j].centre_um) <=
                            radius + features[j].diameter_enclosing_um / 2 &&
                        std::any_of(outlines[j].begin(), outlines[j].end(), [&](cv::Point2d p) {
                          return cv::norm(p - features[i].centre_um) <= radius;
                        });
      if (!near) continue;
      for (const auto& [a, b] : {std::pair{i, j}, std::pair{j, i}}) {
        auto& list = features[a].touches;
        const int id = features[b].id;
        if (std::find(list.begin(), list.end(), id) == list.end()) list.push_back(id);
      }
    }
  }
}

}  // namespace

SceneTruth TrueGeometry(const SceneDescription& scene, const SubGrid& grid) {
  SceneTruth truth;
  truth.limits_id = scene.limits_id;
  truth.centre_px = grid.centre_px;
  truth.um_from_px = grid.um_from_px;
  truth.um_per_px = std::sqrt(std::abs(cv::determinant(grid.um_from_px)));
  const double pixel = truth.um_per_px;
  const double spread = Optics(scene.camera).Fwhm();
  // A pixel's square has the variance of a Gaussian 0.68 pixels wide at half its height.
  truth.blur_fwhm_um = std::hypot(spread, 0.68 * pixel);
  const SceneFibre& fibre = scene.fibre;
  if (!fibre.present) return truth;
  const double radius = fibre.cladding_diameter_um / 2;
  const double longer = 1 / std::cos(scene.face.slope_deg * std::numbers::pi / 180);
  const double oval = fibre.ovality / 2;
  const cv::Matx22d rim =
      Stretch(longer, 1, scene.face.slope_direction_deg) *
      Stretch(radius * (1 + oval), radius * (1 - oval), fibre.ovality_angle_deg);
  truth.cladding = ImageOf(grid, {0, 0}, rim);
  const double core = fibre.core_diameter_um / 2;
  truth.core = ImageOf(grid, fibre.core_offset_um, core * cv::Matx22d::eye());
  return truth;
}

TrueFeature MeasureFeature(const SceneDescription& scene,
                           const SubGrid& grid,
                           const RuleTable& table,
                           const SceneFeature& feature,
                           const Shape& shape) {
  const std::vector<cv::Point2d> outline = shape.Outline();
  TrueFeature out;
  out.shape = feature.shape;
  out.is_scratch = feature.shape == FeatureShape::kScratch;
  const Circle circle = SmallestCircle(outline);
  out.diameter_enclosing_um = 2 * circle.radius;
  if (IsLine(feature.shape)) {
    out.width_um = feature.width_um;
    out.length_um = feature.length_um;
  }
  out.size_um = out.is_scratch ? feature.width_um : out.diameter_enclosing_um;
  out.radius_inner_um = shape.RadiusInner();
  out.zone = table.ZoneAt(out.radius_inner_um);
  out.centre_um = circle.centre;
  out.centre_px = grid.PxFromUm(circle.centre);
  out.contrast = feature.contrast;
  const auto seen = std::count_if(outline.begin(), outline.end(), [&](cv::Point2d p) {
    return InPicture(scene.camera, grid.PxFromUm(p));
  });
  out.in_view_fraction =
      outline.empty() ? 0 : static_cast<double>(seen) / static_cast<double>(outline.size());
  return out;
}

std::vector<TrueFeature> MeasureFeatures(const SceneDescription& scene,
                                         const SubGrid& grid,
                                         const RuleTable& table,
                                         const Shapes& shapes,
                                         double blur_fwhm_um) {
  std::vector<TrueFeature> features;
  std::vector<std::vector<cv::Point2d>> outlines;
  for (size_t i = 0; i < shapes.size(); ++i) {
    features.push_back(MeasureFeature(scene, grid, table, scene.features[i], *shapes[i]));
    features.back().id = static_cast<int>(features.size());
    outlines.push_back(shapes[i]->Outline());
  }
  NoteTouches(outlines, blur_fwhm_um + 1.0, features);
  return features;
}

}  // namespace endgrade::render
