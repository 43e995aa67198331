// Whether a rendered photograph could have shown what would break a rule.
#include "render/develop.h"
#include "render/sensor.h"
#include "render/truth.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

// Between "surely" and "surely not" lies room in which graders may honestly differ.
struct Band {
  double no;
  double yes;
};

// Blur over the smallest size that must be seen. Twice is the two-point limit of most definitions.
constexpr Band kBlurOverMustSee{2.6, 1.5};
// Of a disc of that size, a third darker than its surroundings. Rose's criterion asks for 5; 12 is
// sure.
constexpr Band kReferenceSnr{5, 12};
constexpr double kReferenceContrast = -0.3;
constexpr Band kCladding_px{50, 90};
constexpr Band kInViewFraction{0.99, 0.998};
constexpr Band kSaturatedFraction{0.35, 0.05};

class Verdict {
 public:
  explicit Verdict(SceneTruth& truth) : truth_(truth) {}

  void Weigh(double value, const Band& band, const std::string& why) {
    const bool rising = band.yes > band.no;
    if (rising ? value >= band.yes : value <= band.yes) return;
    const bool no = rising ? value < band.no : value > band.no;
    Lower(no ? Gradable::kNo : Gradable::kUncertain, why);
  }

  void Lower(Gradable to, const std::string& why) {
    if (to == Gradable::kNo || truth_.gradable == Gradable::kYes) truth_.gradable = to;
    auto& list = truth_.ungradable_because;
    if (std::find(list.begin(), list.end(), why) == list.end()) list.push_back(why);
  }

 private:
  SceneTruth& truth_;
};

struct ZoneView {
  double in_view_fraction = 0;
  double saturated_fraction = 0;
};

// By points on rings of the zone.
ZoneView ViewOf(const SceneDescription& scene,
                const SubGrid& grid,
                const cv::Mat& mean_e,
                double inner_um,
                double outer_um) {
  constexpr int kRings = 24;
  constexpr int kPoints = 360;
  const SceneCamera& camera = scene.camera;
  const double mask_px = camera.mask_diameter * camera.height_px;
  const cv::Point2d middle(0.5 * (camera.width_px - 1), 0.5 * (camera.height_px - 1));
  double all = 0;
  double seen = 0;
  double full = 0;
  for (int r = 0; r < kRings; ++r) {
    const double radius = inner_um + (outer_um - inner_um) * (r + 0.5) / kRings;
    for (int k = 0; k < kPoints; ++k) {
      const double angle = 2 * std::numbers::pi * k / kPoints;
      const cv::Point2d p = grid.PxFromUm({radius * std::cos(angle), radius * std::sin(angle)});
      all += radius;
      const cv::Point at(static_cast<int>(std::lround(p.x)), static_cast<int>(std::lround(p.y)));
      if (!cv::Rect({0, 0}, mean_e.size()).contains(at)) continue;
      if (mask_px > 0 && 2 * cv::norm(p - middle) > mask_px) continue;
      seen += radius;
      if (mean_e.at<float>(at) >= camera.full_well_e) full += radius;
    }
  }
  return {seen / all, seen > 0 ? full / seen : 0};
}

double LeastReferenceSnr(const Observer& observer, double inner_um, double outer_um, double size) {
  double least = 1e9;
  const double radius = inner_um + (outer_um - inner_um) * 0.7;
  for (int k = 0; k < 4; ++k) {
    const double angle = std::numbers::pi * (0.5 * k + 0.2);
    const cv::Point2d at(radius * std::cos(angle), radius * std::sin(angle));
    const double snr = observer.DiscSnr(at, size, kReferenceContrast);
    if (snr > 0) least = std::min(least, snr);
  }
  return least;
}

// Soft shadows deeper than this can be taken for residue; common practice, no source.
constexpr double kFaintShadow = 0.015;

// What the camera lays over the face: shadows of its own dirt, and its caption.
void WeighMarks(const SceneDescription& scene,
                const SubGrid& grid,
                double ruled_um,
                Verdict& verdict) {
  const auto to_centre_um = [&](cv::Point2d p_px) {
    return cv::norm(grid.um_from_px *
                    cv::Vec2d(p_px.x - grid.centre_px.x, p_px.y - grid.centre_px.y));
  };
  for (const DirtSpot& spot : LensDirt(scene)) {
    const double reach_um = spot.radius_px * scene.camera.um_per_px;
    if (spot.depth > kFaintShadow && to_centre_um(spot.centre_px) < ruled_um + reach_um) {
      verdict.Lower(Gradable::kUncertain, "dirt on the lens shadows the face");
    }
  }
  const cv::Rect caption = CaptionBox(scene.camera);
  if (caption.empty()) return;
  const cv::Point2d nearest(
      std::clamp(grid.centre_px.x, 1.0 * caption.x, 1.0 * (caption.x + caption.width)),
      std::clamp(grid.centre_px.y, 1.0 * caption.y, 1.0 * (caption.y + caption.height)));
  if (to_centre_um(nearest) < ruled_um) {
    verdict.Lower(Gradable::kUncertain, "a caption lies on the face");
  }
}

void WeighZone(const SceneDescription& scene,
               const SubGrid& grid,
               const Observer& observer,
               const cv::Mat& mean_e,
               const TableZone& zone,
               double inner_um,
               const SceneTruth& truth,
               Verdict& verdict) {
  const ZoneView view = ViewOf(scene, grid, mean_e, inner_um, zone.outer_radius_um);
  verdict.Weigh(view.in_view_fraction, kInViewFraction, "zone " + zone.name + " is cut off");
  verdict.Weigh(view.saturated_fraction, kSaturatedFraction, "zone " + zone.name + " is saturated");
  verdict.Weigh(truth.blur_fwhm_um / *zone.must_see_um, kBlurOverMustSee, "out of focus");
  const double snr = LeastReferenceSnr(observer, inner_um, zone.outer_radius_um, *zone.must_see_um);
  verdict.Weigh(snr, kReferenceSnr, "too little signal in zone " + zone.name);
}

}  // namespace

void JudgeSight(const SceneDescription& scene,
                const SubGrid& grid,
                const RuleTable& table,
                const Observer& observer,
                const cv::Mat& mean_e,
                SceneTruth& truth) {
  Verdict verdict(truth);
  if (!truth.cladding) {
    verdict.Lower(Gradable::kNo, "no fibre");
    return;
  }
  verdict.Weigh(2 * truth.cladding->semi_minor_px, kCladding_px, "too small");
  double inner = 0;
  for (const TableZone& zone : table.zones) {
    if (zone.must_see_um) {
      WeighZone(scene, grid, observer, mean_e, zone, inner, truth, verdict);
    }
    inner = zone.outer_radius_um;
  }
  WeighMarks(scene, grid, table.RuledRadius(), verdict);
  // Its lines lie on the face and cannot be told from scratches.
  if (scene.camera.reticle) verdict.Lower(Gradable::kUncertain, "a reticle lies on the face");
}

}  // namespace endgrade::render
