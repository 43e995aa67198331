#include "evidence/evidence.h"

#include <nlohmann/json.hpp>

namespace endgrade::evidence {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kSchema = "endgrade.evidence/1";

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
  Json files = Json::array();
  for (const LimitsSource& file : evidence.limits) {
    files.push_back({{"name", file.name}, {"text", file.text}});
  }
  // The record goes in as it is: it is JSON already, and its bytes are what is kept.
  return R"({"schema":")" + std::string(kSchema) + R"(","record":)" + evidence.record +
         R"(,"settings":)" + OneLine(JsonOf(evidence.settings)) + R"(,"limits_files":)" +
         OneLine(files) + "}";
}

Result<Evidence> ParseEvidence(const std::string& json) {
  const Json parsed = Json::parse(json, nullptr, false);
  if (!parsed.is_object()) return Damaged("it is not JSON");
  try {
    const auto schema = parsed.at("schema").get<std::string>();
    if (schema != kSchema) {
      return Error{
          ErrorKind::kUnsupported,
          "",
          0,
          "the record inside is of schema \"" + schema + "\"; this program knows " + kSchema,
          "Use the newer endgrade that wrote it"};
    }
    Evidence evidence;
    evidence.record = OneLine(parsed.at("record"));
    evidence.settings = SettingsFrom(parsed.at("settings"));
    for (const Json& file : parsed.at("limits_files")) {
      evidence.limits.push_back(
          {file.at("name").get<std::string>(), file.at("text").get<std::string>()});
    }
    return evidence;
  } catch (const nlohmann::json::exception& e) {
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
