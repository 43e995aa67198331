// What is true of a painted scene: geometry, features, what could be seen, and the verdict.
#pragma once

#include "endgrade/render.h"
#include "render/canvas.h"
#include "render/observer.h"
#include "render/rule_table.h"

#include <vector>

namespace endgrade::render {

[[nodiscard]] SceneTruth TrueGeometry(const SceneDescription& scene, const SubGrid& grid);

// Sizes, zones and places of the scene's features; not yet how well they can be seen.
[[nodiscard]] std::vector<TrueFeature> MeasureFeatures(const SceneDescription& scene,
                                                       const SubGrid& grid,
                                                       const RuleTable& table,
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
[[nodiscard]] bool CouldFail(const SceneDescription& scene, const RuleTable& table);

// The verdict and how sure it is; needs everything above.
void JudgeFace(const SceneDescription& scene, const RuleTable& table, SceneTruth& truth);

}  // namespace endgrade::render
