#include "render/canvas.h"

#include <algorithm>

namespace endgrade::render {
namespace {

constexpr int kTileSide = 64;
constexpr float kLeastFactor = 0.02F;  // nothing is quite black, and division must stay possible

// Turns contrast and cover into a factor on the light that is there. What is opaque shows a light
// of its own in place of the face's.
void Factor(const cv::Mat& light,
            const SceneFeature& feature,
            double own_level,
            const cv::Mat& cover,
            cv::Mat& contrast) {
  for (int y = 0; y < contrast.rows; ++y) {
    float* row = contrast.ptr<float>(y);
    const float* share = cover.ptr<float>(y);
    const float* below = light.ptr<float>(y);
    for (int x = 0; x < contrast.cols; ++x) {
      if (share[x] <= 0) {
        row[x] = 1;
        continue;
      }
      float factor = 1 + row[x];
      if (feature.opacity > 0 && below[x] > 0) {
        const auto opaque = static_cast<float>(feature.opacity) * share[x];
        const float target = static_cast<float>(own_level) * (1 + row[x] / share[x]);
        factor = factor * (1 - opaque) + opaque * target / below[x];
      }
      row[x] = std::max(kLeastFactor, factor);
    }
  }
}

}  // namespace

Stamp MakeStamp(const Shape& shape,
                const SceneFeature& feature,
                const SceneDescription& scene,
                const SubGrid& grid,
                const cv::Mat& light) {
  Stamp stamp;
  const cv::Rect cells = grid.CellsAround(shape.BoxUm());
  for (int y = cells.y; y < cells.y + cells.height; y += kTileSide) {
    for (int x = cells.x; x < cells.x + cells.width; x += kTileSide) {
      const cv::Rect part = cv::Rect(x, y, kTileSide, kTileSide) & cells;
      cv::Mat contrast = cv::Mat::zeros(part.size(), CV_32FC1);
      cv::Mat cover = cv::Mat::zeros(part.size(), CV_32FC1);
      if (!shape.Paint(grid, part, contrast, cover)) continue;
      Factor(light(part), feature, scene.face.glass_level, cover, contrast);
      stamp.tiles.push_back({part, contrast});
    }
  }
  return stamp;
}

Canvas PaintScene(const SceneDescription& scene, const Face& face, const Shapes& shapes) {
  Canvas canvas;
  canvas.grid = LayGrid(scene);
  canvas.light = face.Paint(canvas.grid);
  for (size_t i = 0; i < shapes.size(); ++i) {
    Stamp stamp = MakeStamp(*shapes[i], scene.features[i], scene, canvas.grid, canvas.light);
    for (const Stamp::Tile& tile : stamp.tiles) {
      cv::Mat under = canvas.light(tile.cells);
      cv::multiply(under, tile.factor, under);
    }
    canvas.stamps.push_back(std::move(stamp));
  }
  return canvas;
}

}  // namespace endgrade::render
