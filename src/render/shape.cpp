#include "render/shape.h"

#include "render/blob.h"
#include "render/line.h"

namespace endgrade::render {

bool IsLine(FeatureShape shape) {
  return shape == FeatureShape::kScratch || shape == FeatureShape::kHair ||
         shape == FeatureShape::kLint || shape == FeatureShape::kCrack;
}

std::unique_ptr<Shape> MakeShape(const SceneFeature& feature, const SceneFibre& fibre) {
  if (IsLine(feature.shape)) return std::make_unique<Line>(feature);
  return std::make_unique<Blob>(feature, fibre);
}

Shapes MakeShapes(const SceneDescription& scene) {
  Shapes shapes;
  for (const SceneFeature& each : scene.features) shapes.push_back(MakeShape(each, scene.fibre));
  return shapes;
}

}  // namespace endgrade::render
