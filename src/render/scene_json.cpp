#include "render/scene_json.h"

#include "render/scene_fields.h"

#include <set>

namespace endgrade::render {
namespace {

class Writer {
 public:
  void Number(const char* key, double& value, double, double) { json[key] = value; }
  void Whole(const char* key, int& value, int, int) { json[key] = value; }
  void Seed(const char* key, std::uint64_t& value) { json[key] = value; }
  void Flag(const char* key, bool& value) { json[key] = value; }
  void Text(const char* key, std::string& value) { json[key] = value; }
  void Point(const char* key, cv::Point2d& p, double) { json[key] = {p.x, p.y}; }
  void Tint(const char* key, cv::Vec3d& t) { json[key] = {t[0], t[1], t[2]}; }
  template <typename E, typename Names>
  void Choice(const char* key, E& value, const Names& names) {
    for (const auto& each : names) {
      if (each.value == value) json[key] = each.name;
    }
  }

  Json json = Json::object();
};

class Reader {
 public:
  Reader(const Json& json, std::string prefix) : json_(json), prefix_(std::move(prefix)) {}

  void Number(const char* key, double& value, double, double) {
    if (const Json* j = Find(key, &Json::is_number, "a number")) value = j->get<double>();
  }
  void Whole(const char* key, int& value, int, int) {
    if (const Json* j = Find(key, &Json::is_number_integer, "a whole number"))
      value = j->get<int>();
  }
  void Seed(const char* key, std::uint64_t& value) {
    if (const Json* j = Find(key, &Json::is_number_integer, "a whole number")) {
      value = j->get<std::uint64_t>();
    }
  }
  void Flag(const char* key, bool& value) {
    if (const Json* j = Find(key, &Json::is_boolean, "true or false")) value = j->get<bool>();
  }
  void Text(const char* key, std::string& value) {
    if (const Json* j = Find(key, &Json::is_string, "words in quotes")) value = *j;
  }
  void Point(const char* key, cv::Point2d& p, double) {
    if (const Json* j = FindNumbers(key, 2)) p = {(*j)[0].get<double>(), (*j)[1].get<double>()};
  }
  void Tint(const char* key, cv::Vec3d& t) {
    if (const Json* j = FindNumbers(key, 3)) {
      for (int c = 0; c < 3; ++c) t[c] = (*j)[static_cast<size_t>(c)].get<double>();
    }
  }
  template <typename E, typename Names>
  void Choice(const char* key, E& value, const Names& names) {
    const Json* j = Find(key, &Json::is_string, "a name");
    if (j == nullptr) return;
    std::string known;
    for (const auto& each : names) {
      if (*j == each.name) {
        value = each.value;
        return;
      }
      known += (known.empty() ? "" : ", ") + std::string(each.name);
    }
    Note(std::string(key) + ": must be one of " + known);
  }

  // What was wrong, or a key that nobody asked for.
  std::optional<std::string> Problem() {
    if (problem_) return problem_;
    for (const auto& [key, value] : json_.items()) {
      if (asked_.count(key) == 0) return prefix_ + key + ": no such key";
    }
    return std::nullopt;
  }
  void Ask(const std::string& key) { asked_.insert(key); }

 private:
  const Json* Find(const char* key, bool (Json::*is)() const noexcept, const char* expected) {
    asked_.insert(key);
    const auto at = json_.find(key);
    if (at == json_.end()) return nullptr;
    if (((*at).*is)()) return &*at;
    Note(std::string(key) + ": must be " + expected);
    return nullptr;
  }
  const Json* FindNumbers(const char* key, size_t count) {
    const std::string expected = "a list of " + std::to_string(count) + " numbers";
    const Json* j = Find(key, &Json::is_array, expected.c_str());
    if (j == nullptr) return nullptr;
    const bool numbers =
        j->size() == count &&
        std::all_of(j->begin(), j->end(), [](const Json& each) { return each.is_number(); });
    if (numbers) return j;
    Note(std::string(key) + ": must be " + expected);
    return nullptr;
  }
  void Note(const std::string& what) {
    if (!problem_) problem_ = prefix_ + what;
  }

  const Json& json_;
  std::string prefix_;
  std::set<std::string> asked_;
  std::optional<std::string> problem_;
};

template <typename Part, typename Visit>
std::optional<std::string> ReadPart(const Json& json,
                                    const std::string& name,
                                    Part& part,
                                    const Visit& visit) {
  if (!json.is_object()) return name + ": must be a table";
  Reader reader(json, name + ".");
  visit(part, reader);
  return reader.Problem();
}

constexpr auto kVisitFibre = [](auto& part, auto& v) { VisitFibre(part, v); };
constexpr auto kVisitFace = [](auto& part, auto& v) { VisitFace(part, v); };
constexpr auto kVisitCamera = [](auto& part, auto& v) { VisitCamera(part, v); };
constexpr auto kVisitFeature = [](auto& part, auto& v) { VisitFeature(part, v); };

template <typename Part, typename Visit>
Json WritePart(Part part, const Visit& visit) {
  Writer writer;
  visit(part, writer);
  return writer.json;
}

std::optional<std::string> ReadFeatures(const Json& json, std::vector<SceneFeature>& features) {
  if (!json.is_array()) return "features: must be a list of tables";
  features.clear();
  for (const Json& each : json) {
    SceneFeature feature;
    const std::string name = "features[" + std::to_string(features.size()) + "]";
    if (auto problem = ReadPart(each, name, feature, kVisitFeature)) return problem;
    features.push_back(feature);
  }
  return std::nullopt;
}

// A camera may be one of the known ones, with changes: its name comes first.
std::optional<std::string> ReadCamera(const Json& json, SceneCamera& camera) {
  if (json.is_object() && json.contains("base")) {
    if (!json["base"].is_string()) return "camera.base: must be words in quotes";
    const auto base = FindCamera(json["base"].get<std::string>());
    if (!base.ok()) return "camera.base: " + base.error().what;
    camera = *base;
  }
  if (!json.is_object()) return "camera: must be a table";
  Reader reader(json, "camera.");
  reader.Ask("base");
  VisitCamera(camera, reader);
  return reader.Problem();
}

}  // namespace

Json JsonOf(const SceneDescription& scene) {
  Json json;
  json["seed"] = scene.seed;
  json["limits_id"] = scene.limits_id;
  json["fibre"] = WritePart(scene.fibre, kVisitFibre);
  json["face"] = WritePart(scene.face, kVisitFace);
  json["camera"] = WritePart(scene.camera, kVisitCamera);
  json["features"] = Json::array();
  for (const SceneFeature& feature : scene.features) {
    json["features"].push_back(WritePart(feature, kVisitFeature));
  }
  return json;
}

std::optional<std::string> FromJson(const Json& json, SceneDescription& scene) {
  if (!json.is_object())
    return "a scene is a table of seed, limits_id, fibre, face, camera, features";
  Reader reader(json, "");
  reader.Seed("seed", scene.seed);
  reader.Text("limits_id", scene.limits_id);
  for (const char* part : {"fibre", "face", "camera", "features"}) reader.Ask(part);
  std::optional<std::string> problem = reader.Problem();
  if (!problem && json.contains("fibre")) {
    problem = ReadPart(json["fibre"], "fibre", scene.fibre, kVisitFibre);
  }
  if (!problem && json.contains("face")) {
    problem = ReadPart(json["face"], "face", scene.face, kVisitFace);
  }
  if (!problem && json.contains("camera")) problem = ReadCamera(json["camera"], scene.camera);
  if (!problem && json.contains("features")) {
    problem = ReadFeatures(json["features"], scene.features);
  }
  return problem ? problem : scene.Problem();
}

}  // namespace endgrade::render

namespace endgrade {

std::string SceneJson(const SceneDescription& scene) {
  return render::JsonOf(scene).dump(1) + "\n";
}

}  // namespace endgrade
