// What is true of a painted scene: geometry, features, what could be seen, and the verdict.
#pragma once

#include "endgrade/render.h"
#include "render/canvas.h"
#include "render/observer.h"
#include "render/rule_table.h"
#include "render/shape.h"

#include <vector>

namespace endgrade::render {

[[nodiscard]] SceneTruth TrueGeometry(const SceneDescription& scene, const SubGrid& grid);

// Size, zone and place of one feature; not yet how well it can be seen.
[[nodiscard]] TrueFeature MeasureFeature(const SceneDescription& scene,
                                         const SubGrid& grid,
                                         const RuleTable& table,
                                         const SceneFeature& feature,
                                         const Shape& shape);

// The same of all features of the scene, with ids, and which of them blend into each other.
[[nodiscard]] std::vector<TrueFeature> MeasureFeatures(const SceneDescription& scene,
                                                       const SubGrid& grid,
                                                       const RuleTable& table,
                                                       const Shapes& shapes,
                                                       double blur_fwhm_um);

// Whether the photograph could have shown what would break a rule.
void JudgeSight(const SceneDescription& scene,
                const SubGrid& grid,
                const RuleTable& table,
                const Observer& observer,
                const cv::Mat& mean_e,
                SceneTruth& truth);

// Whether the features, all of them seen, could be taken for a failure: sizes, zones and kinds as
// uncertain as measurement leaves them.
[[nodiscard]] bool CouldFail(std::vector<TrueFeature> features, const RuleTable& table);

// The verdict and how sure it is; needs everything above.
void JudgeFace(const SceneDescription& scene, const RuleTable& table, SceneTruth& truth);

}  // namespace endgrade::render
