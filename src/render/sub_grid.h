// The grid that the scene is painted on: the picture's pixels, each cut into steps x steps, with a
// margin all around so that the optics have something to blur from.
#pragma once

#include "endgrade/scene.h"

#include <opencv2/core.hpp>

namespace endgrade::render {

struct SubGrid {
  int steps = 1;      // cells a pixel, along either side
  int margin_px = 0;  // whole pixels outside the picture
  cv::Size size;      // cells, margins included
  cv::Point2d centre_px;
  cv::Matx22d um_from_px = cv::Matx22d::eye();
  cv::Point2d cell_um;        // a cell's sides
  double footprint_um = 0.1;  // mean side of a cell

  // End-face position of the centre of cell (x, y).
  [[nodiscard]] cv::Point2d UmAt(double x, double y) const {
    const double half = 0.5 * (steps - 1);
    const double dx = (x - half) / steps - margin_px - centre_px.x;
    const double dy = (y - half) / steps - margin_px - centre_px.y;
    return {um_from_px(0, 0) * dx + um_from_px(0, 1) * dy,
            um_from_px(1, 0) * dx + um_from_px(1, 1) * dy};
  }
  [[nodiscard]] cv::Point2d PxFromUm(cv::Point2d p_um) const;
  [[nodiscard]] cv::Point2d CellFromUm(cv::Point2d p_um) const;

  // Cells that hold a box of the end face, inside the grid.
  [[nodiscard]] cv::Rect CellsAround(const cv::Rect2d& box_um) const;
  // The smallest upright box of the end face that holds all of these cells.
  [[nodiscard]] cv::Rect2d BoxUm(const cv::Rect& cells) const;
};

// As fine as the point spread needs, up to kMostSteps: its sigma spans at least this many cells.
// What folds over is then below a twentieth of what is there at the grid's finest frequency.
inline constexpr double kLeastSigma_cells = 0.7;
inline constexpr int kMostSteps = 4;
[[nodiscard]] SubGrid LayGrid(const SceneDescription& scene);

}  // namespace endgrade::render
