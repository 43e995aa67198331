// Random fibres, faces and cameras: everything of a scene but its features.
#pragma once

#include "endgrade/scene.h"
#include "render/random.h"
#include "render/rule_table.h"

namespace endgrade::render {

[[nodiscard]] SceneFibre RandomFibre(Random& random, const RuleTable& table);
[[nodiscard]] SceneFace RandomFace(Random& random, const RuleTable& table);

// A known camera in somebody's hands: scale, turn and place vary, the ruled zones stay in view.
// `faults`: whether it may have dirt, hot pixels, colour cast, and so on.
[[nodiscard]] SceneCamera RandomHands(Random& random,
                                      SceneCamera camera,
                                      const RuleTable& table,
                                      bool faults);

// Lights the face so that its brighter part reaches a sensible share of white.
void SetExposure(Random& random,
                 const SceneFibre& fibre,
                 const SceneFace& face,
                 SceneCamera& camera);

// Makes the photograph one that cannot be graded, in one of the ways there are.
void SpoilPhotograph(Random& random, SceneDescription& scene);

}  // namespace endgrade::render
