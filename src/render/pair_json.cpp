#include "endgrade/render.h"
#include "render/scene_json.h"

namespace endgrade {
namespace {

const char* Word(TrueFate fate) {
  switch (fate) {
    case TrueFate::kGone:
      return "gone";
    case TrueFate::kMoved:
      return "moved";
    case TrueFate::kNew:
      return "new";
    case TrueFate::kStays:
      break;
  }
  return "still_there";
}

render::Json IdOf(const std::optional<std::size_t>& index) {
  return index ? render::Json(*index + 1) : render::Json(nullptr);
}

}  // namespace

std::string PairJson(const ScenePair& pair) {
  render::Json json;
  json["schema"] = "endgrade.pair/1";
  json["rendered"] = true;
  json["same_camera"] = pair.same_camera;
  json["fates"] = render::Json::array();
  for (const auto& each : pair.fates) {
    json["fates"].push_back(
        {{"fate", Word(each.fate)}, {"before", IdOf(each.before)}, {"after", IdOf(each.after)}});
  }
  return json.dump(1) + "\n";
}

}  // namespace endgrade
