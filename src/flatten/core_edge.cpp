#include "flatten/core_edge.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr double kBinsACell = 4.0;
constexpr std::size_t kLeastCells = 8;  // in a bin and its neighbours

}  // namespace

RingTable EdgeByCells(const ContrastMap& map,
                      const Scale& scale,
                      const FaceRings& rings,
                      const Light& glass,
                      const EdgeShape& shape,
                      const RingTable& before) {
  RingTable table;
  table.from_um = 0.0;
  table.step_um = map.um_per_cell / kBinsACell;
  const double to_um = rings.core_to_um + 1.0;
  const auto count = static_cast<std::size_t>(std::ceil(to_um / table.step_um)) + 1;
  std::vector<std::vector<float>> bins(count);
  const cv::Point2d centre = map.CellFromPx(scale.ToPx(rings.core_centre_um));
  const int reach = static_cast<int>(std::ceil(1.2 * to_um / map.um_per_cell)) + 2;
  const cv::Rect box =
      cv::Rect(cvRound(centre.x) - reach, cvRound(centre.y) - reach, 2 * reach + 1, 2 * reach + 1) &
      cv::Rect(0, 0, map.level.cols, map.level.rows);
  for (int y = box.y; y < box.br().y; ++y) {
    for (int x = box.x; x < box.br().x; ++x) {
      const cv::Point2d um = scale.ToUm(map.PxFromCell(cv::Point2d(x, y)));
      const cv::Point2d out = um - rings.core_centre_um;
      const double radius = std::sqrt(out.dot(out));
      const double off = radius > 0 ? shape.At(out * (1.0 / radius)) : 0.0;
      const auto bin =
          static_cast<std::size_t>(std::lround(std::max(0.0, radius - off) / table.step_um));
      if (bin >= count) continue;
      bins[bin].push_back(map.level.at<float>(y, x) - static_cast<float>(glass.Uneven(um)));
    }
  }
  std::vector<float> near;
  for (std::size_t i = 0; i < count; ++i) {
    near.clear();
    for (std::size_t j = i == 0 ? 0 : i - 1; j < std::min(count, i + 2); ++j) {
      near.insert(near.end(), bins[j].begin(), bins[j].end());
    }
    const bool enough = near.size() >= kLeastCells;
    table.values.push_back(enough ? static_cast<double>(MedianOf(near))
                                  : before.At(static_cast<double>(i) * table.step_um));
  }
  return table;
}

}  // namespace endgrade
