#include "render/blob.h"

#include "render/random.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

constexpr size_t kDirections = 720;
constexpr size_t kHarmonics = 9;

// Light of these microscopes leaks in from one side: rims of hollows shine there.
constexpr double kGlintDirection = -0.9;

// (cos, sin) of the directions of an outline.
const std::vector<cv::Point2d>& Directions() {
  static const std::vector<cv::Point2d> directions = [] {
    std::vector<cv::Point2d> out(kDirections);
    for (size_t i = 0; i < kDirections; ++i) {
      const double angle = 2 * std::numbers::pi * static_cast<double>(i) / kDirections;
      out[i] = {std::cos(angle), std::sin(angle)};
    }
    return out;
  }();
  return directions;
}

double Smooth(double from, double to, double x) {
  const double t = std::clamp((x - from) / (to - from), 0.0, 1.0);
  return t * t * (3 - 2 * t);
}

}  // namespace

Blob::Blob(const SceneFeature& feature, const SceneFibre& fibre)
    : feature_(feature),
      clip_radius_um_(feature.shape == FeatureShape::kChip ? fibre.cladding_diameter_um / 2 : 0),
      cos_(std::cos(feature.angle_deg * std::numbers::pi / 180)),
      sin_(std::sin(feature.angle_deg * std::numbers::pi / 180)),
      radius_um_(kDirections) {
  Random random(SubSeed(feature.seed, 1));
  // Films flow: their outlines have slow waves only.
  const bool flows =
      feature.shape == FeatureShape::kFilm || feature.shape == FeatureShape::kDroplet;
  std::array<cv::Point2d, kHarmonics> waves;
  double power = 0;
  for (size_t k = 0; k < kHarmonics; ++k) {
    const double fall = std::pow(static_cast<double>(k) + 1.5, flows ? -2.2 : -1.0);
    waves[k] = fall * cv::Point2d(random.Normal(), random.Normal());
    power += 0.5 * waves[k].dot(waves[k]);
  }
  const double scale = feature.irregularity / std::sqrt(power);
  const double stretch = std::sqrt(feature.elongation);
  const auto& directions = Directions();
  for (size_t i = 0; i < kDirections; ++i) {
    double wave = 0;
    for (size_t k = 0; k < kHarmonics && scale > 0; ++k) {
      wave += waves[k].dot(directions[i * (k + 2) % kDirections]);
    }
    // The ellipse of the same area, its outline shaken.
    const cv::Point2d d = directions[i];
    const double ellipse = 1 / std::hypot(d.x / stretch, d.y * stretch);
    const double mean = 0.5 * feature.diameter_um * ellipse;
    radius_um_[i] = mean * std::clamp(1 + scale * wave, 0.4, 1.8);
    max_radius_um_ = std::max(max_radius_um_, radius_um_[i]);
  }
}

double Blob::OutlineRadius(double angle) const {
  double at = angle / (2 * std::numbers::pi) * kDirections;
  if (at < 0) at += kDirections;
  const auto i = static_cast<size_t>(at);
  const double t = at - static_cast<double>(i);
  return radius_um_[i % kDirections] * (1 - t) + radius_um_[(i + 1) % kDirections] * t;
}

Blob::Place Blob::PlaceOf(cv::Point2d p_um) const {
  const cv::Point2d d = p_um - feature_.centre_um;
  const double rho = std::sqrt(d.dot(d));
  const double angle = std::atan2(-sin_ * d.x + cos_ * d.y, cos_ * d.x + sin_ * d.y);
  const double radius = OutlineRadius(angle);
  double depth = radius - rho;
  if (clip_radius_um_ > 0) {
    depth = std::min(depth, clip_radius_um_ - std::hypot(p_um.x, p_um.y));
  }
  return {depth, radius, angle};
}

// Height of a film or of grease, in waves: slow hills.
double Blob::Thickness(cv::Point2d d) const {
  const double phase = static_cast<double>(feature_.seed % 1000) * 0.01;
  const double size = feature_.diameter_um;
  return std::sin(4.3 * d.x / size + phase) + std::sin(5.1 * d.y / size + 2 * phase) +
         0.5 * std::sin(11 * (d.x + 0.6 * d.y) / size + 3 * phase);
}

double Blob::ContrastAt(const Place& place, cv::Point2d from_centre_um) const {
  const double inner = feature_.contrast;
  const double rim = feature_.rim_contrast;
  const double radius = place.radius;
  switch (feature_.shape) {
    case FeatureShape::kParticle: {
      const double rim_width = std::max(0.5, 0.2 * radius);
      return rim + (inner - rim) * Smooth(0.6 * rim_width, 1.4 * rim_width, place.depth_um);
    }
    case FeatureShape::kPit: {
      const double face_angle = place.angle + feature_.angle_deg * std::numbers::pi / 180;
      const double towards = std::max(0.0, std::cos(face_angle - kGlintDirection));
      const double near_rim = 1 - Smooth(0.15 * radius, 0.45 * radius, place.depth_um);
      return inner + (rim - inner) * near_rim * towards * towards;
    }
    case FeatureShape::kFilm: {
      const double rise = std::min(place.depth_um / std::max(4.0, 0.35 * radius), 1.5);
      const double waves = 0.9 * rise + 0.22 * Thickness(from_centre_um);
      const double edge = 1 - Smooth(0.5, 1.8, place.depth_um);
      return inner * (0.8 + 0.3 * std::cos(2 * std::numbers::pi * waves)) + (rim - inner) * edge;
    }
    case FeatureShape::kDroplet: {
      const double ring_width = std::max(0.8, feature_.width_um);
      const double edge = 1 - Smooth(0.6 * ring_width, 1.4 * ring_width, place.depth_um);
      const double tide =
          0.4 *
          std::exp(-0.5 * std::pow((place.depth_um - 2.6 * ring_width) / (0.5 * ring_width), 2));
      return inner + (rim - inner) * std::max(edge, tide);
    }
    case FeatureShape::kFingerprint: {
      const cv::Point2d d = from_centre_um;
      const double across = -sin_ * d.x + cos_ * d.y + 3 * Thickness(d);
      const double ridge =
          std::cos(2 * std::numbers::pi * across / std::max(2.0, feature_.width_um));
      // Grease lies in ridges that break up, and thins out towards the edge of the print.
      const double broken = Smooth(-1.2, 0.6, Thickness(2.3 * d) + Thickness(-1.7 * d));
      const double thinning = Smooth(0, 0.45 * radius, place.depth_um);
      return inner * Smooth(-0.5, 0.9, ridge) * broken * thinning;
    }
    case FeatureShape::kChip: {
      const double shells =
          std::cos(2 * std::numbers::pi * place.depth_um / std::max(1.5, 0.5 * radius));
      return inner + (rim - inner) * std::max(0.0, shells) * 0.6;
    }
    default:
      return inner;
  }
}

bool Blob::Paint(const SubGrid& grid,
                 const cv::Rect& part,
                 cv::Mat& contrast,
                 cv::Mat& cover) const {
  bool touched = false;
  const double reach = max_radius_um_ + grid.footprint_um;
  for (int y = 0; y < part.height; ++y) {
    float* contrast_row = contrast.ptr<float>(y);
    float* cover_row = cover.ptr<float>(y);
    for (int x = 0; x < part.width; ++x) {
      const cv::Point2d p = grid.UmAt(part.x + x, part.y + y);
      const cv::Point2d d = p - feature_.centre_um;
      if (d.dot(d) > reach * reach) continue;
      const Place place = PlaceOf(p);
      const float share = EdgeCover(place.depth_um, grid.footprint_um);
      if (share <= 0) continue;
      cover_row[x] = share;
      contrast_row[x] = share * static_cast<float>(ContrastAt(place, d));
      touched = true;
    }
  }
  return touched;
}

cv::Rect2d Blob::BoxUm() const {
  const double r = max_radius_um_;
  return {feature_.centre_um.x - r, feature_.centre_um.y - r, 2 * r, 2 * r};
}

std::vector<cv::Point2d> Blob::Outline() const {
  std::vector<cv::Point2d> outline;
  for (size_t i = 0; i < kDirections; ++i) {
    const cv::Point2d own = Directions()[i];
    const cv::Point2d unit(cos_ * own.x - sin_ * own.y, sin_ * own.x + cos_ * own.y);
    const cv::Point2d p = feature_.centre_um + unit * radius_um_[i];
    if (clip_radius_um_ <= 0 || std::hypot(p.x, p.y) <= clip_radius_um_) outline.push_back(p);
  }
  if (clip_radius_um_ <= 0) return outline;
  for (size_t i = 0; i < 4 * kDirections; ++i) {  // the rim's arc inside the outline
    const double angle = 2 * std::numbers::pi * static_cast<double>(i) / (4 * kDirections);
    const cv::Point2d p = clip_radius_um_ * cv::Point2d(std::cos(angle), std::sin(angle));
    if (PlaceOf(p).depth_um > -1e-9) outline.push_back(p);
  }
  return outline;
}

double Blob::RadiusInner() const {
  if (PlaceOf({0, 0}).depth_um >= 0) return 0;
  double least = 1e18;
  for (const cv::Point2d& p : Outline()) least = std::min(least, std::hypot(p.x, p.y));
  return least;
}

}  // namespace endgrade::render
