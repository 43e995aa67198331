#include "core/read_all.h"
#include "limits/toml.h"
#include "render/scene_json.h"

#include <fstream>

namespace endgrade {
namespace {

using render::Json;

Json FromToml(const toml::node& node) {
  if (const auto* table = node.as_table()) {
    Json json = Json::object();
    for (const auto& [key, value] : *table) json[std::string(key.str())] = FromToml(value);
    return json;
  }
  if (const auto* array = node.as_array()) {
    Json json = Json::array();
    for (const auto& value : *array) json.push_back(FromToml(value));
    return json;
  }
  if (const auto* value = node.as_integer()) return value->get();
  if (const auto* value = node.as_floating_point()) return value->get();
  if (const auto* value = node.as_boolean()) return value->get();
  if (const auto* value = node.as_string()) return value->get();
  return nullptr;
}

Error Bad(const std::filesystem::path& path, int line, const std::string& what) {
  return {ErrorKind::kBadOption,
          path.string(),
          line,
          what,
          "See the scene of any truth file for the keys"};
}

Result<Json> ParseJson(const std::filesystem::path& path, const std::string& text) {
  Json json = Json::parse(text, nullptr, false);
  if (json.is_discarded()) return Bad(path, 0, "not valid JSON");
  // A truth file holds the scene that it is of.
  if (json.is_object() && json.contains("scene")) return Json(json["scene"]);
  return json;
}

Result<Json> ParseToml(const std::filesystem::path& path, const std::string& text) {
  const toml::parse_result parsed = toml::parse(text);
  if (parsed) return FromToml(parsed.table());
  const toml::parse_error& error = parsed.error();
  return Bad(path, static_cast<int>(error.source().begin.line), WordsOf(error));
}

}  // namespace

Result<SceneDescription> ReadScene(const std::filesystem::path& path) {
  // A device or a pipe may have no end.
  constexpr std::uintmax_t kMostBytes = 16 << 20;
  std::error_code error;
  const auto status = std::filesystem::status(path, error);
  if (std::filesystem::exists(status) && !std::filesystem::is_regular_file(status)) {
    return Bad(path, 0, "not a file");
  }
  if (const auto size = std::filesystem::file_size(path, error); !error && size > kMostBytes) {
    return Bad(path, 0, "more than 16 MB, too large for a scene");
  }
  std::ifstream file(path, std::ios::binary);
  const auto text = ReadAll(file);
  if (!text) {
    return Error{ErrorKind::kNotFound, path.string(), 0, "cannot be read", "Check the name"};
  }
  const bool is_json = path.extension() == ".json";
  const auto json = is_json ? ParseJson(path, *text) : ParseToml(path, *text);
  if (!json.ok()) return json.error();
  SceneDescription scene;
  if (auto problem = render::FromJson(*json, scene)) return Bad(path, 0, *problem);
  return scene;
}

}  // namespace endgrade
