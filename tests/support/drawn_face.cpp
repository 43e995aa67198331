#include "tests/support/drawn_face.h"

#include "endgrade/detect.h"
#include "endgrade/lay.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace endgrade::test {
namespace {

// Share of a pixel inside a border at signed distance `inside_px` of its centre.
double Cover(double inside_px) { return std::clamp(inside_px + 0.5, 0.0, 1.0); }

double DistanceToSegment(cv::Point2d p, cv::Point2d a, cv::Point2d b) {
  const cv::Point2d run = b - a;
  const double along = std::clamp((p - a).dot(run) / run.dot(run), 0.0, 1.0);
  const cv::Point2d foot = a + run * along;
  return std::hypot(p.x - foot.x, p.y - foot.y);
}

double Level(const DrawnFace& face, cv::Point2d um, double grain) {
  const double radius = std::hypot(um.x, um.y);
  const double px = face.um_per_px;
  double level = face.ferrule + face.grain * grain;
  level += Cover((62.5 - radius) / px) * (face.glass - level);
  if (face.core_radius_um > 0) {
    level += Cover((face.core_radius_um - radius) / px) * (face.core - face.glass);
  }
  for (const DrawnDisc& disc : face.discs) {
    const double away = std::hypot(um.x - disc.centre_um.x, um.y - disc.centre_um.y);
    level *= 1.0 + disc.contrast * Cover((0.5 * disc.diameter_um - away) / px);
  }
  for (const DrawnLine& line : face.lines) {
    const double away = DistanceToSegment(um, line.from_um, line.to_um);
    // A line may be narrower than a pixel: its share is an area, not a step.
    const double half = 0.5 * line.width_um / px;
    const double share = std::clamp(half - away / px + 0.5, 0.0, std::min(1.0, 2.0 * half));
    level *= 1.0 + line.contrast * share;
  }
  for (const DrawnRing& ring : face.rings) {
    const double away = std::abs(radius - ring.radius_um);
    level *= 1.0 + ring.contrast * Cover((0.5 * ring.width_um - away) / px);
  }
  return level * (1.0 + face.tilt_of_light * um.x / 250.0);
}

}  // namespace

Drawn Draw(const DrawnFace& face) {
  const cv::Point2d centre(0.5 * (face.size.width - 1), 0.5 * (face.size.height - 1));
  cv::RNG random(face.seed);
  cv::Mat grain(face.size, CV_32F);
  random.fill(grain, cv::RNG::NORMAL, 0.0, 1.0);
  cv::GaussianBlur(grain, grain, cv::Size(), 1.2);
  cv::Scalar mean, deviation;
  cv::meanStdDev(grain, mean, deviation);
  grain /= deviation[0];

  cv::Mat picture(face.size, CV_32F);
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      const cv::Point2d um = (cv::Point2d(x, y) - centre) * face.um_per_px;
      picture.at<float>(y, x) =
          static_cast<float>(Level(face, um, static_cast<double>(grain.at<float>(y, x))));
    }
  }
  cv::GaussianBlur(picture, picture, cv::Size(), face.blur_um / face.um_per_px);
  cv::Mat noise(face.size, CV_32F);
  random.fill(noise, cv::RNG::NORMAL, 0.0, face.noise);
  picture += noise;

  Drawn drawn;
  picture.convertTo(drawn.frame.luma, CV_8U);
  const double radius_px = 62.5 / face.um_per_px;
  drawn.fibre.cladding = {centre, radius_px, radius_px, 0.0};
  drawn.fibre.blur_sigma_px = face.blur_um / face.um_per_px;
  drawn.fibre.blur_fwhm_px = 2.3548 * drawn.fibre.blur_sigma_px;
  drawn.fibre.rim_in_view_fraction = drawn.fibre.rim_seen_fraction = 1.0;
  drawn.fibre.rim_step = face.ferrule - face.glass;
  if (face.core_radius_um > 0) {
    const double core_px = face.core_radius_um / face.um_per_px;
    drawn.fibre.core = Ellipse{centre, core_px, core_px, 0.0};
  }
  drawn.scale = *SetScale(drawn.fibre, ShippedLimits("sm-upc"));
  return drawn;
}

Limits ShippedLimits(const std::string& id) {
  auto limits = FindLimits(id);
  if (!limits.ok()) throw std::runtime_error(limits.error().Text());
  return *std::move(limits);
}

ContrastMap FlattenDrawn(const Drawn& drawn, const Limits& limits) {
  const ZoneMap zones = LayZones(drawn.frame.luma.size(), drawn.scale, limits);
  return Flatten(drawn.frame, drawn.fibre, drawn.scale, zones);
}

std::vector<Feature> FeaturesOn(const DrawnFace& face) {
  const Limits limits = ShippedLimits("sm-upc");
  const Drawn drawn = Draw(face);
  const ContrastMap map = FlattenDrawn(drawn, limits);
  return MeasureFeatures(drawn.frame, map, drawn.scale, limits, DetectRegions(map).regions);
}

}  // namespace endgrade::test
