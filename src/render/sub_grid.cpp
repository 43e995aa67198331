#include "render/sub_grid.h"

#include "render/optics.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

cv::Matx22d Turn(double angle_deg) {
  const double angle = angle_deg * std::numbers::pi / 180;
  return {std::cos(angle), -std::sin(angle), std::sin(angle), std::cos(angle)};
}

// Shortens lengths along `direction_deg` by cos(tilt).
cv::Matx22d Foreshorten(double tilt_deg, double direction_deg) {
  const cv::Matx22d turn = Turn(direction_deg);
  const double shorter = std::cos(tilt_deg * std::numbers::pi / 180);
  return turn * cv::Matx22d(shorter, 0, 0, 1) * turn.t();
}

}  // namespace

cv::Point2d SubGrid::PxFromUm(cv::Point2d p_um) const {
  const cv::Vec2d d = um_from_px.inv() * cv::Vec2d(p_um.x, p_um.y);
  return {centre_px.x + d[0], centre_px.y + d[1]};
}

cv::Point2d SubGrid::CellFromUm(cv::Point2d p_um) const {
  const cv::Point2d p_px = PxFromUm(p_um);
  const double half = 0.5 * (steps - 1);
  return {(p_px.x + margin_px) * steps + half, (p_px.y + margin_px) * steps + half};
}

cv::Rect SubGrid::CellsAround(const cv::Rect2d& box_um) const {
  double x0 = 1e9;
  double y0 = 1e9;
  double x1 = -1e9;
  double y1 = -1e9;
  for (const double x : {box_um.x, box_um.x + box_um.width}) {
    for (const double y : {box_um.y, box_um.y + box_um.height}) {
      const cv::Point2d p = CellFromUm({x, y});
      x0 = std::min(x0, p.x);
      x1 = std::max(x1, p.x);
      y0 = std::min(y0, p.y);
      y1 = std::max(y1, p.y);
    }
  }
  const auto clamp = [](double value, int high) {
    return static_cast<int>(std::clamp(value, 0.0, static_cast<double>(high)));
  };
  const cv::Point low(clamp(std::floor(x0) - 1, size.width),
                      clamp(std::floor(y0) - 1, size.height));
  const cv::Point high(clamp(std::ceil(x1) + 2, size.width), clamp(std::ceil(y1) + 2, size.height));
  return {low, high};
}

cv::Rect2d SubGrid::BoxUm(const cv::Rect& cells) const {
  double x0 = 1e18;
  double y0 = 1e18;
  double x1 = -1e18;
  double y1 = -1e18;
  for (const int x : {cells.x, cells.x + cells.width}) {
    for (const int y : {cells.y, cells.y + cells.height}) {
      const cv::Point2d p = UmAt(x - 0.5, y - 0.5);
      x0 = std::min(x0, p.x);
      x1 = std::max(x1, p.x);
      y0 = std::min(y0, p.y);
      y1 = std::max(y1, p.y);
    }
  }
  return {x0, y0, x1 - x0, y1 - y0};
}

SubGrid LayGrid(const SceneDescription& scene) {
  const SceneCamera& camera = scene.camera;
  const double x_um = camera.um_per_px;
  const double y_um = camera.um_per_px * camera.pixel_aspect;
  const cv::Matx22d px_from_um = cv::Matx22d(1 / x_um, 0, 0, 1 / y_um) *
                                 Foreshorten(camera.tilt_deg, camera.tilt_direction_deg) *
                                 Turn(camera.rotation_deg);
  SubGrid grid;
  grid.um_from_px = px_from_um.inv();
  grid.centre_px = cv::Point2d(0.5 * (camera.width_px - 1), 0.5 * (camera.height_px - 1)) +
                   camera.centre_offset_px;
  const double coarser_um = std::max(x_um, y_um);
  const double wanted = kLeastSigma_cells * coarser_um / Optics(camera).SharpestSigma();
  grid.steps = std::clamp(static_cast<int>(std::ceil(wanted)), 1, kMostSteps);
  const double reach_um = Optics(camera).Reach();
  grid.margin_px = std::clamp(static_cast<int>(std::ceil(reach_um / x_um)), 8, 160);
  // The transforms like sizes of small factors; the excess goes to the right and the bottom.
  const int side = 2 * grid.margin_px;
  grid.size = {cv::getOptimalDFTSize((camera.width_px + side) * grid.steps),
               cv::getOptimalDFTSize((camera.height_px + side) * grid.steps)};
  grid.cell_um = {x_um / grid.steps, y_um / grid.steps};
  grid.footprint_um = std::sqrt(grid.cell_um.x * grid.cell_um.y);
  return grid;
}

}  // namespace endgrade::render
