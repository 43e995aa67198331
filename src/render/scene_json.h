// Scenes and truths as JSON values.
#pragma once

#include "endgrade/render.h"

#include <nlohmann/json.hpp>

namespace endgrade::render {

using Json = nlohmann::ordered_json;

[[nodiscard]] Json JsonOf(const SceneDescription& scene);

// The first thing that is wrong with `json` ("camera.zoom: no such key"), or nothing.
[[nodiscard]] std::optional<std::string> FromJson(const Json& json, SceneDescription& scene);

}  // namespace endgrade::render
