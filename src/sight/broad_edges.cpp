#include "sight/broad_edges.h"

#include "flatten/cell_grid.h"
#include "sight/stands_out.h"
#include "sight/strips.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kUprightUm = 2.0;
constexpr int kBesideRegions = 2;  // cells
constexpr int kSpreadCells = 5;
constexpr double kLineSigma = 5.0;

constexpr double kGlassFromRimUm = 6.0;
constexpr double kFerruleFromRimUm = 9.0;
constexpr double kGlassFromCoreUm = 4.0;
constexpr double kNarrowCoreUm = 6.0;  // of a radius, where none is seen
constexpr double kWideCoreUm = 32.0;

// The face upright, on cells of kUprightUm, and where it tells something.
struct Face {
  cv::Mat level;  // CV_32FC1
  cv::Mat told;   // CV_32FC1: 1 or 0
  double half_um = 0;

  [[nodiscard]] double RadiusAt(int y, int x) const {
    const cv::Point2d um(x * kUprightUm - half_um, y * kUprightUm - half_um);
    return std::sqrt(um.dot(um));
  }
};

Face Upright(const ContrastMap& map, const cv::Mat& held) {
  Face face;
  const int half = static_cast<int>(std::ceil(map.outer_um / kUprightUm));
  const cv::Size size(2 * half + 1, 2 * half + 1);
  face.half_um = half * kUprightUm;
  // Averaged first, so that each cell of the face stands for all of the map's that it covers.
  const int step = std::max(1, cvRound(0.5 * kUprightUm / map.um_per_cell));
  const cv::Rect even(0, 0, map.level.cols / step * step, map.level.rows / step * step);
  cv::Mat coarse;
  cv::resize(map.level(even), coarse, even.size() / step, 0, 0, cv::INTER_AREA);
  cv::Mat coarse_held;
  cv::resize(held(even), coarse_held, even.size() / step, 0, 0, cv::INTER_NEAREST);
  const cv::Matx22d cells = map.um_from_cell.inv() * (kUprightUm / step);
  const cv::Vec2d corner = cells * cv::Vec2d(half, half);
  const cv::Point2d middle =
      (map.centre_cell + cv::Point2d(0.5, 0.5)) / step - cv::Point2d(0.5, 0.5);
  const cv::Matx23d affine(cells(0, 0),
                           cells(0, 1),
                           middle.x - corner[0],
                           cells(1, 0),
                           cells(1, 1),
                           middle.y - corner[1]);
  cv::GaussianBlur(coarse, coarse, cv::Size(3, 3), 0.8);
  cv::warpAffine(coarse, face.level, affine, size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP);
  cv::Mat blocked;
  cv::warpAffine(coarse_held,
                 blocked,
                 affine,
                 size,
                 cv::INTER_NEAREST | cv::WARP_INVERSE_MAP,
                 cv::BORDER_CONSTANT,
                 cv::Scalar(255));
  const int side = 2 * kBesideRegions + 1;
  cv::dilate(blocked, blocked, cv::Mat::ones(side, side, CV_8UC1));
  cv::Mat(blocked == 0).convertTo(face.told, CV_32F, 1.0 / 255.0);
  return face;
}

// Light from one side makes no edge; what a plane takes, it takes from an edge, too, but little.
void TakeOffPlane(const cv::Mat& told, cv::Mat* level) {
  const double middle_x = 0.5 * told.cols;
  const double middle_y = 0.5 * told.rows;
  double count = 0, x1 = 0, y1 = 0, xx = 0, xy = 0, yy = 0;
  cv::Vec3d right(0, 0, 0);
  for (int row = 0; row < told.rows; ++row) {
    const auto* counts = told.ptr<float>(row);
    const auto* values = level->ptr<float>(row);
    const double y = row - middle_y;
    for (int column = 0; column < told.cols; ++column) {
      if (counts[column] <= 0) continue;
      const double x = column - middle_x;
      const auto value = static_cast<double>(values[column]);
      count += 1.0;
      x1 += x;
      y1 += y;
      xx += x * x;
      xy += x * y;
      yy += y * y;
      right += cv::Vec3d(value, value * x, value * y);
    }
  }
  cv::Vec3d plane;
  const cv::Matx33d normal(count, x1, y1, x1, xx, xy, y1, xy, yy);
  if (!cv::solve(normal, right, plane, cv::DECOMP_CHOLESKY)) return;
  for (int row = 0; row < told.rows; ++row) {
    auto* values = level->ptr<float>(row);
    const double y = row - middle_y;
    for (int column = 0; column < told.cols; ++column) {
      const double x = column - middle_x;
      values[column] -= static_cast<float>(plane[0] + plane[1] * x + plane[2] * y);
    }
  }
}

// What lies within this radius; turned about its middle, none of it is lost.
Face Within(const Face& face, double to_um) {
  const int middle = face.level.cols / 2;
  const int half = std::min(middle, cvCeil(to_um / kUprightUm) + 1);
  const cv::Rect box(middle - half, middle - half, 2 * half + 1, 2 * half + 1);
  return {face.level(box).clone(), face.told(box).clone(), half * kUprightUm};
}

BroadEdge EdgeBetween(const Face& whole, double from_um, double to_um) {
  BroadEdge edge;
  if (to_um <= from_um) return edge;
  const Face face = Within(whole, to_um);
  cv::Mat told = face.told.clone();
  for (int y = 0; y < told.rows; ++y) {
    auto* row = told.ptr<float>(y);
    for (int x = 0; x < told.cols; ++x) {
      const double radius = face.RadiusAt(y, x);
      if (radius < from_um || radius > to_um) row[x] = 0.0F;
    }
  }
  cv::Mat around;
  cv::blur(face.level, around, {kSpreadCells, kSpreadCells});
  std::vector<float> levels;
  std::vector<float> spread;
  for (int y = 0; y < told.rows; ++y) {
    for (int x = 0; x < told.cols; ++x) {
      if (told.at<float>(y, x) <= 0) continue;
      levels.push_back(face.level.at<float>(y, x));
      spread.push_back(std::abs(face.level.at<float>(y, x) - around.at<float>(y, x)));
    }
  }
  if (levels.size() < 2 * kStripCells) return edge;
  constexpr double kLeastSpread = 0.1;  // luma units
  const double light = std::max(1.0, static_cast<double>(MedianOf(levels)));
  const double one = std::max(kLeastSpread, 1.4826 * static_cast<double>(MedianOf(spread)));
  // Without thin lines: marks of the camera's own that run across the picture.
  told.setTo(0.0F, StandsOut(face.level, static_cast<float>(kLineSigma * one)));
  cv::Mat level = face.level.clone();
  TakeOffPlane(told, &level);
  const double step = GreatestStep(level.mul(told), told, from_um / kUprightUm, to_um / kUprightUm);
  edge.contrast = step / light;
  edge.sigma = step / one;
  return edge;
}

}  // namespace

BroadEdges FindBroadEdges(const ContrastMap& map,
                          const cv::Mat& held,
                          double outer_um,
                          bool wide_core) {
  const Face face = Upright(map, held);
  const double blur_um = map.blur_sigma_cells * map.um_per_cell;
  const double rim_um = map.cladding_radius_um;
  double core_um = std::max(map.core_radius_um, kNarrowCoreUm);
  if (wide_core) core_um = std::max(core_um, kWideCoreUm);
  BroadEdges edges;
  edges.glass = EdgeBetween(
      face, core_um + kGlassFromCoreUm + 2.0 * blur_um, rim_um - kGlassFromRimUm - 2.0 * blur_um);
  edges.ferrule = EdgeBetween(face, rim_um + kFerruleFromRimUm + 3.0 * blur_um, outer_um);
  return edges;
}

}  // namespace endgrade
