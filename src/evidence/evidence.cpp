#include "evidence/evidence.h"

#include <nlohmann/json.hpp>

namespace endgrade::evidence {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kSchema = "endgrade.evidence/1";
constexpr const char* kListSchema = "endgrade.evidence-list/1";

Json JsonOf(const Settings& settings) {
  return {{"decision", settings.decision},
          {"um_per_px", settings.um_per_px ? Json(*settings.um_per_px) : Json(nullptr)},
          {"camera_sha256",
           settings.camera_sha256.empty() ? Json(nullptr) : Json(settings.camera_sha256)}};
}

// Throws nlohmann's exceptions for what is missing or of another type.
Settings SettingsFrom(const Json& json) {
  Settings settings;
  settings.decision = json.at("decision").get<std::string>();
  if (!json.at("um_per_px").is_null()) settings.um_per_px = json["um_per_px"].get<double>();
  if (!json.at("camera_sha256").is_null()) {
    settings.camera_sha256 = json["camera_sha256"].get<std::string>();
  }
  return settings;
}

Error Damaged(const std::string& why) {
  return {ErrorKind::kCorrupt,
          "",
          0,
          "the record inside is damaged: " + why,
          "Bring back a copy, or write it anew from the photograph"};
}

std::string OneLine(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Json JsonOf(const std::vector<LimitsSource>& sources) {
  Json files = Json::array();
  for (const LimitsSource& file : sources) {
    files.push_back({{"name", file.name}, {"text", file.text}});
  }
  return files;
}

// Throws.
std::vector<LimitsSource> SourcesFrom(const Json& json) {
  std::vector<LimitsSource> sources;
  for (const Json& file : json) {
    sources.push_back({file.at("name").get<std::string>(), file.at("text").get<std::string>()});
  }
  return sources;
}

std::string Joined(const std::vector<std::string>& texts) {
  std::string json = "[";
  for (const std::string& text : texts) json += (json.size() > 1 ? "," : "") + text;
  return json + "]";
}

std::string LimitsHashOf(const Json& record) {
  return record.at("limits").at("sha256").is_null()
             ? ""
             : record.at("limits").at("sha256").get<std::string>();
}

// Throws. What a piece leaves out, its list says.
Evidence EvidenceFrom(const Json& json, const Carried& list) {
  Evidence evidence;
  evidence.record = OneLine(json.at("record"));
  if (json.contains("settings")) {
    evidence.settings = SettingsFrom(json["settings"]);
  } else {
    evidence.settings = list.settings.value();
  }
  if (json.contains("limits_files")) {
    evidence.limits = SourcesFrom(json["limits_files"]);
  } else {
    evidence.limits = list.limits.at(LimitsHashOf(json.at("record")));
  }
  return evidence;
}

// Throws.
BriefEvidence BriefFrom(const Json& json) {
  const auto text = [&](const char* key) { return json.at(key).get<std::string>(); };
  return {text("path"),
          text("picture_sha256"),
          text("limits_sha256"),
          text("program"),
          text("verdict"),
          text("record_sha256")};
}

std::optional<Error> SchemaProblem(const Json& json, const char* known) {
  const auto schema = json.at("schema").get<std::string>();
  if (schema == known) return std::nullopt;
  return Error{ErrorKind::kUnsupported,
               "",
               0,
               "the record inside is of schema \"" + schema + "\"; this program knows " + known,
               "Use the newer endgrade that wrote it"};
}

// Throws.
Result<Carried> ListFrom(const Json& json) {
  Carried list;
  list.is_list = true;
  if (json.contains("settings")) list.settings = SettingsFrom(json["settings"]);
  if (json.contains("limits")) {
    for (const auto& [sha256, files] : json["limits"].items()) {
      list.limits[sha256] = SourcesFrom(files);
    }
  }
  for (const Json& piece : json.at("evidence")) {
    if (auto problem = SchemaProblem(piece, kSchema)) return *problem;
    list.evidence.push_back(EvidenceFrom(piece, list));
  }
  if (json.contains("brief")) {
    for (const Json& piece : json["brief"]) list.brief.push_back(BriefFrom(piece));
  }
  if (json.contains("comparison")) list.comparison = OneLine(json["comparison"]);
  if (json.contains("drawn")) list.drawn = json["drawn"].get<std::string>();
  return list;
}

}  // namespace

Settings SettingsOf(const GradeOptions& options) {
  Settings settings;
  if (options.judge.decision == DecisionRule::kGuarded) settings.decision = "guarded";
  settings.um_per_px = options.scale.um_per_px;
  if (options.camera) settings.camera_sha256 = options.camera->sha256;
  return settings;
}

void Apply(const Settings& settings, GradeOptions* options) {
  options->judge.decision =
      settings.decision == "guarded" ? DecisionRule::kGuarded : DecisionRule::kSimple;
  options->scale.um_per_px = settings.um_per_px;
}

std::string EvidenceJson(const Evidence& evidence) {
  // The record goes in as it is: it is JSON already, and its bytes are what is kept.
  return R"({"schema":")" + std::string(kSchema) + R"(","record":)" + evidence.record +
         R"(,"settings":)" + OneLine(JsonOf(evidence.settings)) + R"(,"limits_files":)" +
         OneLine(JsonOf(evidence.limits)) + "}";
}

std::string BareEvidenceJson(const std::string& record) {
  return R"({"schema":")" + std::string(kSchema) + R"(","record":)" + record + "}";
}

std::string BriefEvidenceJson(const BriefEvidence& brief) {
  return OneLine({{"path", brief.path},
                  {"picture_sha256", brief.picture_sha256},
                  {"limits_sha256", brief.limits_sha256},
                  {"program", brief.program},
                  {"verdict", brief.verdict},
                  {"record_sha256", brief.record_sha256}});
}

std::string EvidenceListJson(const EvidenceList& list) {
  std::string json = R"({"schema":")" + std::string(kListSchema) + "\"";
  if (list.settings) json += R"(,"settings":)" + OneLine(JsonOf(*list.settings));
  if (!list.limits.empty()) {
    Json limits = Json::object();
    for (const auto& [sha256, sources] : list.limits) limits[sha256] = JsonOf(sources);
    json += R"(,"limits":)" + OneLine(limits);
  }
  json += R"(,"evidence":)" + Joined(list.evidence);
  if (!list.brief.empty()) json += R"(,"brief":)" + Joined(list.brief);
  if (!list.comparison.empty()) json += R"(,"comparison":)" + list.comparison;
  if (!list.drawn.empty()) json += R"(,"drawn":")" + list.drawn + "\"";
  return json + "}";
}

Result<Carried> ParseCarried(const std::string& json) {
  const Json parsed = Json::parse(json, nullptr, false);
  if (!parsed.is_object()) return Damaged("it is not JSON");
  try {
    if (parsed.at("schema") == kListSchema) return ListFrom(parsed);
    if (auto problem = SchemaProblem(parsed, kSchema)) return *problem;
    Carried carried;
    carried.evidence.push_back(EvidenceFrom(parsed, carried));
    return carried;
  } catch (const std::exception& e) {  // of nlohmann's, or for what the list should have said
    return Damaged(e.what());
  }
}

std::string SettingsJson(const Settings& settings) { return OneLine(JsonOf(settings)); }

Result<Settings> ParseSettings(const std::string& json) {
  const Json parsed = Json::parse(json, nullptr, false);
  try {
    return SettingsFrom(parsed);
  } catch (const nlohmann::json::exception& e) {
    return Damaged(e.what());
  }
}

}  // namespace endgrade::evidence
