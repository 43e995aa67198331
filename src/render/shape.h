// One feature as geometry: what it does to the light that the face sends back, and its true size.
#pragma once

#include "endgrade/scene.h"
#include "render/sub_grid.h"

#include <opencv2/core.hpp>

#include <memory>
#include <vector>

namespace endgrade::render {

class Shape {
 public:
  virtual ~Shape() = default;

  // Upright box that holds all of it, um.
  [[nodiscard]] virtual cv::Rect2d BoxUm() const = 0;

  // Adds what it does to the cells of `part`: `contrast` is (feature - face) / face, `cover` the
  // share of the cell that it takes. Both CV_32FC1 of part.size(), zeroed by the caller.
  // Returns whether it touched any cell.
  virtual bool Paint(const SubGrid& grid,
                     const cv::Rect& part,
                     cv::Mat& contrast,
                     cv::Mat& cover) const = 0;

  // Points on its border, close enough for its enclosing circle (0.01 um or a thousandth).
  [[nodiscard]] virtual std::vector<cv::Point2d> Outline() const = 0;

  // Least distance of any point of it from the origin, um.
  [[nodiscard]] virtual double RadiusInner() const = 0;
};

[[nodiscard]] std::unique_ptr<Shape> MakeShape(const SceneFeature& feature,
                                               const SceneFibre& fibre);
using Shapes = std::vector<std::unique_ptr<Shape>>;
[[nodiscard]] Shapes MakeShapes(const SceneDescription& scene);  // by scene.features
[[nodiscard]] bool IsLine(FeatureShape shape);

// Share of a cell that lies inside an edge: `depth_um` is the distance inwards from the edge.
[[nodiscard]] inline float EdgeCover(double depth_um, double footprint_um) {
  const double cover = depth_um / footprint_um + 0.5;
  return static_cast<float>(cover < 0 ? 0 : cover > 1 ? 1 : cover);
}

struct Circle {
  cv::Point2d centre;
  double radius = 0;
};

// Smallest circle that encloses all points. Welzl 1991, with a fixed shuffle; expected O(N).
[[nodiscard]] Circle SmallestCircle(std::vector<cv::Point2d> points);

}  // namespace endgrade::render
