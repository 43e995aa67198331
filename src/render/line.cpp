#include "render/line.h"

#include "render/random.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

// Direction of travel, as a walk from the middle outwards, so that the feature's centre lies on it.
class Wander {
 public:
  Wander(const SceneFeature& feature, int side)
      : shape_(feature.shape),
        bend_(feature.bend_per_um * side),
        random_(SubSeed(feature.seed, side > 0 ? 2 : 3)) {}

  // Turn over the next `step_um`, radians.
  double Turn(double step_um) {
    switch (shape_) {
      case FeatureShape::kCrack:
        return random_.Chance(0.35) ? random_.Normal() * 0.45 - pull_ : 0.0;
      case FeatureShape::kLint:
        curl_ += random_.Normal() * 0.012 * std::sqrt(step_um) - 0.03 * curl_ * step_um;
        return (bend_ + curl_) * step_um;
      case FeatureShape::kHair:
        curl_ += random_.Normal() * 0.0006 * std::sqrt(step_um) - 0.02 * curl_ * step_um;
        return (bend_ + curl_) * step_um;
      default:
        return bend_ * step_um;
    }
  }

  // A crack keeps to its course on the whole.
  void Remember(double deviation) { pull_ = 0.5 * deviation; }

 private:
  FeatureShape shape_;
  double bend_;
  double curl_ = 0;
  double pull_ = 0;
  Random random_;
};

std::vector<cv::Point2d> HalfSpine(const SceneFeature& feature, int side, double step_um) {
  std::vector<cv::Point2d> points;
  Wander wander(feature, side);
  const double start = feature.angle_deg * std::numbers::pi / 180;
  double angle = start;
  cv::Point2d p = feature.centre_um;
  const int steps = std::max(1, static_cast<int>(std::lround(0.5 * feature.length_um / step_um)));
  const double step = 0.5 * feature.length_um / steps;
  for (int i = 0; i < steps; ++i) {
    const double turn = wander.Turn(step);
    angle += turn;
    wander.Remember(angle - start);
    // The chord of an arc points half a turn before its end.
    const double chord = angle - 0.5 * turn;
    p += side * step * cv::Point2d(std::cos(chord), std::sin(chord));
    points.push_back(p);
  }
  return points;
}

double StepOf(const SceneFeature& feature) {
  if (feature.shape == FeatureShape::kCrack) return 1.5;
  const bool straight = feature.shape == FeatureShape::kScratch && feature.bend_per_um == 0;
  return straight ? feature.length_um / 2 : 2.0;
}

}  // namespace

Line::Line(const SceneFeature& feature) : feature_(feature) {
  const double step = StepOf(feature);
  spine_ = HalfSpine(feature, -1, step);
  std::reverse(spine_.begin(), spine_.end());
  spine_.push_back(feature.centre_um);
  const auto ahead = HalfSpine(feature, 1, step);
  spine_.insert(spine_.end(), ahead.begin(), ahead.end());
  along_um_.assign(spine_.size(), 0);
  for (size_t i = 1; i < spine_.size(); ++i) {
    along_um_[i] = along_um_[i - 1] + cv::norm(spine_[i] - spine_[i - 1]);
  }
}

Line::Place Line::PlaceOf(cv::Point2d p, const std::vector<size_t>& pieces) const {
  Place best{0, 1e18, 0};
  for (const size_t i : pieces) {
    const cv::Point2d d = spine_[i + 1] - spine_[i];
    const cv::Point2d e = p - spine_[i];
    const double length2 = d.dot(d);
    const double t = std::clamp(e.dot(d) / length2, 0.0, 1.0);
    const cv::Point2d off = e - t * d;
    const double distance2 = off.dot(off);
    if (distance2 >= best.distance_um) continue;
    const double cross = d.x * e.y - d.y * e.x;
    best = {cross, distance2, along_um_[i] + t * (along_um_[i + 1] - along_um_[i])};
  }
  best.distance_um = std::sqrt(best.distance_um);
  best.across_um = std::copysign(best.distance_um, best.across_um);
  return best;
}

bool Line::InGap(double along_um) const {
  if (feature_.dash_um <= 0) return false;
  // Strokes at both ends, so that the length is the stated one.
  const double period = feature_.dash_um + feature_.gap_um;
  const double strokes = std::max(1.0, std::floor((feature_.length_um + feature_.gap_um) / period));
  const double stretched = (feature_.length_um + feature_.gap_um) / strokes;
  return std::fmod(along_um, stretched) > feature_.dash_um * stretched / period;
}

float Line::Fade(double along_um) const {
  if (feature_.fade_um <= 0) return 1;
  const double from_end = std::min(along_um, along_um_.back() - along_um);
  return static_cast<float>(std::clamp(from_end / feature_.fade_um, 0.0, 1.0));
}

double Line::ContrastAt(const Place& place, double footprint_um) const {
  const double inner = feature_.contrast;
  const double other = feature_.rim_contrast;
  const double v = place.distance_um / (0.5 * feature_.width_um);
  switch (feature_.shape) {
    case FeatureShape::kScratch: {
      if (other == 0) return inner;
      const double share = EdgeCover(place.across_um, footprint_um);
      return inner * (1 - share) + other * share;
    }
    case FeatureShape::kHair:
    case FeatureShape::kLint: {
      const double middle = std::exp(-0.5 * (v / 0.28) * (v / 0.28));
      return inner + (other - inner) * middle;
    }
    default:
      return inner;
  }
}

bool Line::Paint(const SubGrid& grid,
                 const cv::Rect& part,
                 cv::Mat& contrast,
                 cv::Mat& cover) const {
  const double reach = 0.5 * feature_.width_um + grid.footprint_um;
  const cv::Rect2d box = grid.BoxUm(part);
  const cv::Point2d middle(box.x + box.width / 2, box.y + box.height / 2);
  const double box_reach = reach + std::hypot(box.width, box.height) / 2;
  std::vector<size_t> pieces;
  std::vector<size_t> one(1);
  for (size_t i = 0; i + 1 < spine_.size(); ++i) {
    one[0] = i;
    if (PlaceOf(middle, one).distance_um <= box_reach) pieces.push_back(i);
  }
  if (pieces.empty()) return false;
  bool touched = false;
  for (int y = 0; y < part.height; ++y) {
    float* contrast_row = contrast.ptr<float>(y);
    float* cover_row = cover.ptr<float>(y);
    for (int x = 0; x < part.width; ++x) {
      const Place place = PlaceOf(grid.UmAt(part.x + x, part.y + y), pieces);
      if (place.distance_um > reach || InGap(place.along_um)) continue;
      // Both edges count: a line may be narrower than a cell.
      const double half = 0.5 * feature_.width_um;
      const float share = EdgeCover(half - place.distance_um, grid.footprint_um) -
                          EdgeCover(-half - place.distance_um, grid.footprint_um);
      if (share <= 0) continue;
      cover_row[x] = share;
      contrast_row[x] =
          share * Fade(place.along_um) * static_cast<float>(ContrastAt(place, grid.footprint_um));
      touched = true;
    }
  }
  return touched;
}

cv::Rect2d Line::BoxUm() const {
  const double reach = 0.5 * feature_.width_um;
  double x0 = 1e18;
  double y0 = 1e18;
  double x1 = -1e18;
  double y1 = -1e18;
  for (const cv::Point2d& p : spine_) {
    x0 = std::min(x0, p.x);
    x1 = std::max(x1, p.x);
    y0 = std::min(y0, p.y);
    y1 = std::max(y1, p.y);
  }
  return {x0 - reach, y0 - reach, x1 - x0 + 2 * reach, y1 - y0 + 2 * reach};
}

// Every point of the spine rounded by half the width: its ends are round too.
std::vector<cv::Point2d> Line::Outline() const {
  constexpr int kDirections = 48;
  std::vector<cv::Point2d> outline;
  for (const cv::Point2d& p : spine_) {
    for (int k = 0; k < kDirections; ++k) {
      const double angle = 2 * std::numbers::pi * k / kDirections;
      outline.push_back(p +
                        0.5 * feature_.width_um * cv::Point2d(std::cos(angle), std::sin(angle)));
    }
  }
  return outline;
}

double Line::RadiusInner() const {
  std::vector<size_t> pieces(spine_.size() - 1);
  for (size_t i = 0; i < pieces.size(); ++i) pieces[i] = i;
  const double distance = PlaceOf({0, 0}, pieces).distance_um;
  return std::max(0.0, distance - 0.5 * feature_.width_um);
}

}  // namespace endgrade::render
