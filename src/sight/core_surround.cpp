#include "sight/core_surround.h"

#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kRingStepUm = 0.5;
constexpr double kCoreEndsUm = 5.5;  // and one blur
constexpr double kSurroundToUm = 20.0;
constexpr double kMiddleUm = 2.5;
constexpr double kGlassFromUm = 22.0;  // the glass's own level: between these
constexpr double kGlassUpToUm = 45.0;
constexpr std::size_t kLeastInRing = 12;  // cells
constexpr int kBeside = 1;                // cells, from what a region holds

}  // namespace

CoreSurround LookAroundCore(const ContrastMap& map, const cv::Mat& held) {
  const cv::Rect box = CellsWithin(map, kGlassUpToUm);
  if (box.empty()) return {};
  cv::Mat beside;
  const int side = 2 * kBeside + 1;
  cv::dilate(held(box), beside, cv::Mat::ones(side, side, CV_8UC1));
  const cv::Point2d core = map.core_radius_um > 0 ? map.core_centre_um : cv::Point2d(0, 0);
  std::vector<std::vector<float>> rings(static_cast<std::size_t>(kGlassUpToUm / kRingStepUm) + 1);
  std::vector<float> glass;
  glass.reserve(static_cast<std::size_t>(box.area()));
  std::vector<float> middle;
  // From here on a cell is the glass's wherever the core lies.
  constexpr double kRoundingUm = 0.1;
  const auto surely_glass_um =
      static_cast<float>(kGlassFromUm + std::sqrt(core.dot(core)) + kRoundingUm);
  for (int y = box.y; y < box.br().y; ++y) {
    const auto* radii = map.radius_um.ptr<float>(y);
    const auto* levels = map.level.ptr<float>(y);
    const auto* hidden = beside.ptr(y - box.y);
    for (int x = box.x; x < box.br().x; ++x) {
      if (radii[x] > static_cast<float>(kGlassUpToUm) || hidden[x - box.x]) continue;
      if (radii[x] > surely_glass_um) {
        glass.push_back(levels[x]);
        continue;
      }
      const cv::Vec2d um =
          map.um_from_cell * cv::Vec2d(x - map.centre_cell.x, y - map.centre_cell.y);
      const cv::Point2d off = cv::Point2d(um[0], um[1]) - core;
      const double radius = std::sqrt(off.dot(off));
      if (radius < kMiddleUm) middle.push_back(levels[x]);
      if (radius > kGlassFromUm) {
        glass.push_back(levels[x]);
      } else {
        rings[static_cast<std::size_t>(radius / kRingStepUm)].push_back(levels[x]);
      }
    }
  }
  CoreSurround surround;
  if (glass.empty()) return surround;
  const double light = std::max(1.0, static_cast<double>(MedianOf(glass)));
  const auto off = [&](std::vector<float>& levels) {
    return static_cast<double>(MedianOf(levels)) / light - 1.0;
  };
  if (!middle.empty()) surround.middle = off(middle);
  const double from_um = kCoreEndsUm + map.blur_sigma_cells * map.um_per_cell;
  for (std::size_t i = 0; i < rings.size(); ++i) {
    const double radius = (static_cast<double>(i) + 0.5) * kRingStepUm;
    if (radius < from_um || radius > kSurroundToUm || rings[i].size() < kLeastInRing) continue;
    const double here = off(rings[i]);
    surround.darkest = std::min(surround.darkest, here);
    surround.brightest = std::max(surround.brightest, here);
  }
  return surround;
}

}  // namespace endgrade
