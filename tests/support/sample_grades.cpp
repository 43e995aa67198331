#include "tests/support/sample_grades.h"

#include <cmath>

namespace endgrade {
namespace {

Zone ZoneTo(const std::string& name, const std::string& title, double from_um, double to_um) {
  Zone zone;
  zone.name = name;
  zone.title = title;
  zone.inner_diameter_um = from_um;
  zone.outer_diameter_um = to_um;
  zone.must_see_defect_um = 2.0;
  return zone;
}

Rule RuleOf(const std::string& id, const std::string& zone, std::optional<int> allowed) {
  Rule rule;
  rule.id = id;
  rule.zone = zone;
  rule.kind = allowed ? RuleKind::kDefect : RuleKind::kAny;
  rule.allowed = allowed;
  rule.text = allowed ? "none" : "no limit";
  return rule;
}

}  // namespace

Frame SampleFrame(cv::Size size, int level) {
  Frame frame;
  frame.luma = cv::Mat(size, CV_8UC1, cv::Scalar(level));
  frame.path = "photographs/port-07.jpg";
  frame.sha256 = std::string(64, 'a');
  return frame;
}

Limits SampleLimits() {
  Limits limits;
  limits.id = "sample";
  limits.title = "Sample limits, return loss >= 45 dB";
  limits.edition = "made for tests";
  limits.sha256 = std::string(64, 'b');
  limits.zones = {ZoneTo("A", "core", 0, 25),
                  ZoneTo("B", "cladding", 25, 115),
                  ZoneTo("C", "adhesive", 115, 135),
                  ZoneTo("D", "contact", 135, 250)};
  limits.rules = {RuleOf("a-defects", "A", 0),
                  RuleOf("b-defects-over-5", "B", 0),
                  RuleOf("d-anything", "D", std::nullopt)};
  return limits;
}

Feature RoundFeature(int id, cv::Point2d centre_um, double diameter_um, int zone) {
  Feature feature;
  feature.id = id;
  feature.zone = zone;
  feature.size_um = diameter_um;
  feature.size_uncertainty_um = 0.4;
  feature.diameter_enclosing_um = diameter_um;
  feature.area_um2 = CV_PI / 4 * diameter_um * diameter_um;
  feature.contrast_peak = -0.35;
  feature.snr = 25;
  feature.centre_um = centre_um;
  return feature;
}

FibreGrade CleanFibre(cv::Size picture, double um_per_px) {
  FibreGrade fibre;
  const cv::Point2d centre((picture.width - 1) / 2.0, (picture.height - 1) / 2.0);
  const double radius_px = 62.5 / um_per_px;
  fibre.geometry.cladding = {centre, radius_px, radius_px, 0};
  fibre.geometry.core = Ellipse{centre, 4.5 / um_per_px, 4.5 / um_per_px, 0};
  fibre.geometry.rim_in_view_fraction = 1;
  fibre.geometry.rim_seen_fraction = 0.98;
  fibre.geometry.blur_sigma_px = 1.2;
  fibre.geometry.blur_fwhm_px = 2.8;
  fibre.scale.centre_px = centre;
  fibre.scale.um_from_px = cv::Matx22d(um_per_px, 0, 0, um_per_px);
  fibre.scale.um_per_px = um_per_px;
  fibre.scale.um_per_px_uncertainty = 0.008 * um_per_px;
  fibre.zones.assign(4, ZoneSight{1.0, 1.1, 0.9});
  fibre.rules = {{0, 0, true, false}, {1, 0, true, false}, {2, 0, true, false}};
  fibre.verdict = Verdict::kPass;
  return fibre;
}

void PutOnPicture(FibreGrade& fibre, Feature feature) {
  constexpr int kCorners = 64;
  feature.centre_px = fibre.scale.ToPx(feature.centre_um);
  for (int i = 0; i < kCorners; ++i) {
    const double angle = 2 * CV_PI * i / kCorners;
    const cv::Point2d corner(std::cos(angle), std::sin(angle));
    feature.outline_px.push_back(
        fibre.scale.ToPx(feature.centre_um + 0.5 * feature.size_um * corner));
  }
  fibre.features.push_back(std::move(feature));
}

Grade PassingGrade(cv::Size picture) {
  Grade grade;
  grade.verdict = Verdict::kPass;
  grade.fibres = {CleanFibre(picture)};
  grade.quality.blur_sigma_um = 0.3;
  grade.quality.noise = 0.01;
  grade.quality.stated_contrast = 0.3;
  grade.quality.view_um = {picture.width * kSampleUmPerPx, picture.height * kSampleUmPerPx};
  grade.times.total_ms = 12.3456;
  return grade;
}

Grade FailingGrade(cv::Size picture) {
  Grade grade = PassingGrade(picture);
  FibreGrade& fibre = grade.fibres[0];
  grade.verdict = fibre.verdict = Verdict::kFail;
  grade.marginal = true;
  grade.reasons = {{"rule_broken", "Zone B, cladding: 1 defect over 5 um (7.2 um), none allowed."}};
  grade.warnings = {{"marginal", "It could be 0 within the uncertainty of its size."}};
  Feature defect = RoundFeature(1, {25, -30}, 7.2, 1);
  defect.breaks = {"b-defects-over-5"};
  Feature scratch = RoundFeature(2, {-60, 70}, 6.0, 3);
  scratch.kind = FeatureKind::kScratch;
  scratch.width_um = 1.5;
  scratch.length_um = 6.0;
  PutOnPicture(fibre, std::move(defect));
  PutOnPicture(fibre, std::move(scratch));
  fibre.rules[1] = {1, 1, false, true};
  return grade;
}

Grade UngradableGrade(cv::Size picture) {
  Grade grade = PassingGrade(picture);
  grade.verdict = grade.fibres[0].verdict = Verdict::kUngradable;
  grade.fibres[0].zones[3] = {0.8, std::nullopt, std::nullopt};
  grade.reasons = {{"zone_cut_off", "The picture does not hold all of zone D. Move the fibre."}};
  return grade;
}

Grade GradeWithoutFibre() {
  return JudgeNoFibre({"no_fibre", "No fibre was found. Move it into view."}, Quality{});
}

}  // namespace endgrade
