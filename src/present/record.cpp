#include "endgrade/present.h"
#include "endgrade/version.h"
#include "present/words.h"

#include <nlohmann/json.hpp>

#include <cmath>

namespace endgrade {
namespace {

using Json = nlohmann::ordered_json;

// Decimals in the record. Micrometres to a nanometre and pixels to a hundredth are finer than
// anything that is measured here, and coarse enough that the bytes are the same everywhere.
constexpr int kUmDecimals = 3;
constexpr int kPxDecimals = 2;
constexpr int kDegDecimals = 2;
constexpr int kShareDecimals = 4;
constexpr int kScaleDecimals = 6;  // um a pixel
constexpr int kSnrDecimals = 2;
constexpr int kMsDecimals = 3;

// null for what is not a number.
Json Rounded(double value, int decimals) {
  if (!std::isfinite(value)) return nullptr;
  const double unit = std::pow(10.0, decimals);
  const double rounded = std::round(value * unit) / unit;
  if (!std::isfinite(rounded)) return value;  // too large for decimals to matter
  return rounded == 0.0 ? 0.0 : rounded;      // no minus zero
}

Json Rounded(const std::optional<double>& value, int decimals) {
  return value ? Rounded(*value, decimals) : Json(nullptr);
}

Json RoundedPair(double first, double second, int decimals) {
  return Json::array({Rounded(first, decimals), Rounded(second, decimals)});
}

Json PointJson(cv::Point2d point, int decimals) { return RoundedPair(point.x, point.y, decimals); }

Json HashJson(const std::string& sha256) { return sha256.empty() ? Json(nullptr) : Json(sha256); }

Json ReasonsJson(const std::vector<Reason>& reasons) {
  Json list = Json::array();
  for (const Reason& reason : reasons) {
    list.push_back({{"code", reason.code}, {"text", reason.text}});
  }
  return list;
}

Json LimitsJson(const Limits& limits) {
  return {{"id", limits.id},
          {"title", limits.title},
          {"sha256", HashJson(limits.sha256)},
          {"edition", limits.edition}};
}

Json ZoneJson(const Zone& zone, const ZoneSight* sight) {
  Json json = {{"name", zone.name},
               {"inner_diameter_um", Rounded(zone.inner_diameter_um, kUmDecimals)},
               {"outer_diameter_um", Rounded(zone.outer_diameter_um, kUmDecimals)}};
  const ZoneSight unseen{std::nan(""), std::nullopt, std::nullopt};
  const ZoneSight& seen = sight ? *sight : unseen;
  json["in_view_fraction"] = Rounded(seen.in_view_fraction, kShareDecimals);
  json["smallest_visible_um"] = Rounded(seen.smallest_visible_um, kUmDecimals);
  json["smallest_visible_scratch_um"] = Rounded(seen.smallest_visible_scratch_um, kUmDecimals);
  json["title"] = zone.title;
  return json;
}

Json FeatureJson(const Feature& feature, const Limits& limits) {
  const bool in_zone = feature.zone >= 0 && feature.zone < static_cast<int>(limits.zones.size());
  Json outline = Json::array();
  for (const cv::Point2d& point : feature.outline_px) {
    outline.push_back(PointJson(point, kPxDecimals));
  }
  Json json;
  json["id"] = feature.id;
  json["kind"] = RecordWord(feature.kind);
  json["zone"] =
      in_zone ? Json(limits.zones[static_cast<std::size_t>(feature.zone)].name) : Json(nullptr);
  json["size_um"] = Rounded(feature.size_um, kUmDecimals);
  json["size_uncertainty_um"] = Rounded(feature.size_uncertainty_um, kUmDecimals);
  json["width_um"] = Rounded(feature.width_um, kUmDecimals);
  json["length_um"] = Rounded(feature.length_um, kUmDecimals);
  json["area_um2"] = Rounded(feature.area_um2, kUmDecimals);
  json["contrast"] = Rounded(feature.contrast_peak, kShareDecimals);
  json["snr"] = Rounded(feature.snr, kSnrDecimals);
  json["centre_px"] = PointJson(feature.centre_px, kPxDecimals);
  json["centre_um"] = PointJson(feature.centre_um, kUmDecimals);
  json["outline_px"] = std::move(outline);
  json["breaks"] = feature.breaks;
  json["diameter_enclosing_um"] = Rounded(feature.diameter_enclosing_um, kUmDecimals);
  json["cut_by_frame"] = feature.cut_by_frame;
  json["saturated"] = feature.saturated;
  return json;
}

Json RuleJson(const Rule& rule, const RuleOutcome& outcome) {
  return {{"id", rule.id},
          {"zone", rule.zone},
          {"kind", RecordWord(rule.kind)},
          {"text", rule.text},
          {"found", outcome.found},
          {"allowed", rule.allowed ? Json(*rule.allowed) : Json(nullptr)},
          {"met", outcome.met},
          {"marginal", outcome.marginal}};
}

// What is measured beside the contract's keys: how well the fibre was found, and its size.
void AddGeometry(const FibreGrade& fibre, Json* json) {
  const FibreGeometry& geometry = fibre.geometry;
  const double core_um =
      geometry.core ? 2.0 * geometry.core->MeanRadius() * fibre.scale.um_per_px : std::nan("");
  (*json)["cladding_diameter_um"] = Rounded(fibre.scale.cladding_diameter_um, kUmDecimals);
  (*json)["core_diameter_um"] = Rounded(core_um, kUmDecimals);
  (*json)["cladding_radius_uncertainty_px"] =
      Rounded(geometry.cladding_radius_uncertainty_px, kUmDecimals);
  (*json)["centre_uncertainty_px"] = Rounded(geometry.centre_uncertainty_px, kUmDecimals);
  (*json)["rim_in_view_fraction"] = Rounded(geometry.rim_in_view_fraction, kShareDecimals);
  (*json)["rim_seen_fraction"] = Rounded(geometry.rim_seen_fraction, kShareDecimals);
  (*json)["blur_sigma_px"] = Rounded(geometry.blur_sigma_px, kUmDecimals);
}

Json FibreJson(const FibreGrade& fibre, const Limits& limits) {
  const Ellipse& cladding = fibre.geometry.cladding;
  const auto& core = fibre.geometry.core;
  Json json;
  json["centre_px"] = PointJson(fibre.scale.centre_px, kPxDecimals);
  json["cladding_semi_axes_px"] =
      RoundedPair(cladding.semi_major_px, cladding.semi_minor_px, kPxDecimals);
  json["cladding_angle_deg"] = Rounded(cladding.angle_deg, kDegDecimals);
  json["core_radius_px"] = core ? Rounded(core->MeanRadius(), kPxDecimals) : Json(nullptr);
  json["um_per_px"] = Rounded(fibre.scale.um_per_px, kScaleDecimals);
  json["um_per_px_uncertainty"] = Rounded(fibre.scale.um_per_px_uncertainty, kScaleDecimals);
  json["scale_source"] = RecordWord(fibre.scale.source);
  json["verdict"] = RecordWord(fibre.verdict);
  Json& zones = json["zones"] = Json::array();
  for (std::size_t i = 0; i < limits.zones.size(); ++i) {
    zones.push_back(ZoneJson(limits.zones[i], i < fibre.zones.size() ? &fibre.zones[i] : nullptr));
  }
  Json& features = json["features"] = Json::array();
  for (const Feature& feature : fibre.features) features.push_back(FeatureJson(feature, limits));
  Json& rules = json["rules"] = Json::array();
  for (const RuleOutcome& outcome : fibre.rules) {
    rules.push_back(RuleJson(limits.rules.at(static_cast<std::size_t>(outcome.rule)), outcome));
  }
  AddGeometry(fibre, &json);
  return json;
}

Json CameraJson(const std::optional<CameraUse>& use, const Limits& limits) {
  if (!use) return nullptr;
  Json removed = Json::array();
  for (const RemovedDirt& dirt : use->removed) {
    const bool in_zone = dirt.zone >= 0 && dirt.zone < static_cast<int>(limits.zones.size());
    removed.push_back(
        {{"what", "fixed_dirt"},
         {"how", dirt.divided ? "divided" : "hidden"},
         {"zone",
          in_zone ? Json(limits.zones[static_cast<std::size_t>(dirt.zone)].name) : Json(nullptr)},
         {"centre_px", PointJson(dirt.centre_px, kPxDecimals)},
         {"diameter_um", Rounded(dirt.diameter_um, kUmDecimals)},
         {"transmission", Rounded(dirt.transmission, kShareDecimals)}});
  }
  return {{"id", use->id},
          {"sha256", HashJson(use->sha256)},
          {"flat_field", use->flat_field},
          {"removed", std::move(removed)}};
}

// `measured`: without a fibre nothing is known of any of it.
Json QualityJson(const Quality& quality, bool measured) {
  const auto number = [&](double value, int decimals) {
    return measured ? Rounded(value, decimals) : Json(nullptr);
  };
  return {{"focus", number(quality.blur_sigma_um, kUmDecimals)},
          {"noise", number(quality.noise, kScaleDecimals)},
          {"saturated_fraction", number(quality.saturated_fraction, kScaleDecimals)},
          {"view_um",
           measured ? RoundedPair(quality.view_um.width, quality.view_um.height, kUmDecimals)
                    : Json(nullptr)},
          {"stated_contrast", number(quality.stated_contrast, kShareDecimals)},
          {"blur_fwhm_um", number(quality.blur_fwhm_um, kUmDecimals)}};
}

Json TimesJson(const StepTimes& times) {
  return {{"read", Rounded(times.read_ms, kMsDecimals)},
          {"locate", Rounded(times.locate_ms, kMsDecimals)},
          {"detect", Rounded(times.detect_ms, kMsDecimals)},
          {"total", Rounded(times.total_ms, kMsDecimals)},
          {"lay", Rounded(times.lay_ms, kMsDecimals)},
          {"flatten", Rounded(times.flatten_ms, kMsDecimals)},
          {"measure", Rounded(times.measure_ms, kMsDecimals)},
          {"judge", Rounded(times.judge_ms, kMsDecimals)}};
}

// `image` and the times are left to the caller to fill; the order of the keys is settled here.
Json RecordOf(Json image, const Limits& limits, const Grade& grade, Json times) {
  Json json;
  json["schema"] = "endgrade.result/1";
  json["program"] = {{"version", Version()}, {"build", Build()}};
  json["image"] = std::move(image);
  json["limits"] = LimitsJson(limits);
  json["camera"] = CameraJson(grade.camera, limits);
  json["verdict"] = RecordWord(grade.verdict);
  json["marginal"] = grade.marginal;
  json["reasons"] = ReasonsJson(grade.reasons);
  json["warnings"] = ReasonsJson(grade.warnings);
  Json& fibres = json["fibres"] = Json::array();
  for (const FibreGrade& fibre : grade.fibres) fibres.push_back(FibreJson(fibre, limits));
  json["quality"] = QualityJson(grade.quality, !grade.fibres.empty());
  json["timing_ms"] = std::move(times);
  return json;
}

// A file name may hold bytes that are not UTF-8; JSON may not. They become U+FFFD.
std::string OneLine(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace

std::string RecordJson(const Frame& frame, const Limits& limits, const Grade& grade) {
  const Json image = {{"path", frame.path.string()},
                      {"sha256", HashJson(frame.sha256)},
                      {"width_px", frame.luma.cols},
                      {"height_px", frame.luma.rows}};
  return OneLine(RecordOf(image, limits, grade, TimesJson(grade.times)));
}

std::string UnreadableRecordJson(const std::filesystem::path& path,
                                 const Limits& limits,
                                 const Error& error) {
  const Json image = {
      {"path", path.string()}, {"sha256", nullptr}, {"width_px", nullptr}, {"height_px", nullptr}};
  const Grade grade = JudgeNoFibre({"unreadable", error.Text()}, Quality{});
  Json times = TimesJson(grade.times);
  for (Json& time : times) time = nullptr;
  return OneLine(RecordOf(image, limits, grade, std::move(times)));
}

}  // namespace endgrade
