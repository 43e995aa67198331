#include "render/scene_fields.h"
#include "render/scene_json.h"

namespace endgrade {
namespace {

using render::Json;

Json JsonOf(const std::optional<Ellipse>& ellipse) {
  if (!ellipse) return nullptr;
  return {{"centre_px", {ellipse->centre_px.x, ellipse->centre_px.y}},
          {"semi_axes_px", {ellipse->semi_major_px, ellipse->semi_minor_px}},
          {"angle_deg", ellipse->angle_deg}};
}

Json JsonOf(const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); }

Json JsonOf(const TrueFeature& f) {
  Json json;
  json["id"] = f.id;
  for (const auto& each : render::kShapeNames) {
    if (each.value == f.shape) json["shape"] = each.name;
  }
  json["kind"] = f.is_scratch ? "scratch" : "defect";
  json["zone"] = f.zone.empty() ? Json(nullptr) : Json(f.zone);
  json["size_um"] = f.size_um;
  json["diameter_enclosing_um"] = f.diameter_enclosing_um;
  json["width_um"] = JsonOf(f.width_um);
  json["length_um"] = JsonOf(f.length_um);
  json["radius_inner_um"] = f.radius_inner_um;
  json["centre_um"] = {f.centre_um.x, f.centre_um.y};
  json["centre_px"] = {f.centre_px.x, f.centre_px.y};
  json["contrast"] = f.contrast;
  json["contrast_imaged"] = f.contrast_imaged;
  json["snr"] = f.snr;
  json["in_view_fraction"] = f.in_view_fraction;
  json["touches"] = f.touches;
  return json;
}

const char* Name(Gradable gradable) {
  switch (gradable) {
    case Gradable::kYes:
      return "yes";
    case Gradable::kNo:
      return "no";
    default:
      return "uncertain";
  }
}

}  // namespace

std::string TruthJson(const SceneDescription& scene, const SceneTruth& truth) {
  Json json;
  json["schema"] = "endgrade.truth/1";
  json["rendered"] = true;
  json["limits_id"] = truth.limits_id;
  json["face_verdict"] = truth.face_verdict == TrueVerdict::kFail ? "fail" : "pass";
  json["acceptable"] = truth.acceptable;
  json["borderline"] = truth.borderline;
  json["borderline_because"] = truth.borderline_because;
  json["gradable"] = Name(truth.gradable);
  json["ungradable_because"] = truth.ungradable_because;
  json["broken"] = truth.broken;
  json["cladding"] = JsonOf(truth.cladding);
  json["core"] = JsonOf(truth.core);
  json["centre_px"] = {truth.centre_px.x, truth.centre_px.y};
  json["um_per_px"] = truth.um_per_px;
  const cv::Matx22d& m = truth.um_from_px;
  json["um_from_px"] = {{m(0, 0), m(0, 1)}, {m(1, 0), m(1, 1)}};
  json["blur_fwhm_um"] = truth.blur_fwhm_um;
  json["features"] = Json::array();
  for (const TrueFeature& feature : truth.features) json["features"].push_back(JsonOf(feature));
  json["scene"] = render::JsonOf(scene);
  return json.dump(1) + "\n";
}

}  // namespace endgrade
