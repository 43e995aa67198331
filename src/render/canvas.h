// The face with its features painted on, and what each feature did, so that it can be taken away.
#pragma once

#include "render/face.h"
#include "render/shape.h"
#include "render/sub_grid.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::render {

// What one feature multiplied the light by, in the tiles that it touches.
struct Stamp {
  struct Tile {
    cv::Rect cells;
    cv::Mat factor;  // CV_32FC1, 1 where it does nothing
  };
  std::vector<Tile> tiles;
};

struct Canvas {
  SubGrid grid;
  cv::Mat light;              // CV_32FC1, all features on
  std::vector<Stamp> stamps;  // by scene.features
};

[[nodiscard]] Stamp MakeStamp(const Shape& shape,
                              const SceneFeature& feature,
                              const SceneDescription& scene,
                              const SubGrid& grid,
                              const cv::Mat& light);
[[nodiscard]] Canvas PaintScene(const SceneDescription& scene,
                                const Face& face,
                                const Shapes& shapes);

}  // namespace endgrade::render
