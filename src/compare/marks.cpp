#include "compare/marks.h"

#include "compare/grain.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::compare {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr std::size_t kMostMarks = 60;
constexpr double kLeastRadius_um = 6.0;
constexpr double kLongOverWide = 4.0;  // from here on a feature is a line
constexpr double kLeastLine_um = 12.0;
constexpr double kPlaceSigma_um = 0.7;    // of a centre in either picture, both together
constexpr double kPlaceOfSize = 0.06;     // an irregular outline moves its circle's centre
constexpr double kPlaceOfRadius = 0.002;  // what scale and shape of the cladding leave
constexpr double kLineAngleSigma = 0.6 * kPi / 180;
constexpr double kWindowSigmas = 3.0;
constexpr double kStays = 0.6;  // prior share of marks that stay; common practice, no source
constexpr double kMostSizeRatio = 1.8;
constexpr double kSizeSlack_um = 1.5;
constexpr double kMostOfOne = 6.0;  // no single coincidence weighs more than this

double Wrapped(double angle) { return std::remainder(angle, 2 * kPi); }

struct Axis {
  cv::Point2d centre;
  cv::Point2d along;
  double length = 0;
  double width = 0;
};

// Mean and principal direction of the outline, in micrometres.
Axis AxisOf(const std::vector<cv::Point2d>& outline) {
  Axis axis;
  for (const cv::Point2d& p : outline) axis.centre += p;
  axis.centre *= 1.0 / static_cast<double>(outline.size());
  double xx = 0;
  double xy = 0;
  double yy = 0;
  for (const cv::Point2d& p : outline) {
    const cv::Point2d d = p - axis.centre;
    xx += d.x * d.x;
    xy += d.x * d.y;
    yy += d.y * d.y;
  }
  const double angle = 0.5 * std::atan2(2 * xy, xx - yy);
  axis.along = {std::cos(angle), std::sin(angle)};
  const cv::Point2d across(-axis.along.y, axis.along.x);
  double low = 0;
  double high = 0;
  double left = 0;
  double right = 0;
  for (const cv::Point2d& p : outline) {
    const cv::Point2d d = p - axis.centre;
    low = std::min(low, d.dot(axis.along));
    high = std::max(high, d.dot(axis.along));
    left = std::min(left, d.dot(across));
    right = std::max(right, d.dot(across));
  }
  axis.centre += 0.5 * (low + high) * axis.along + 0.5 * (left + right) * across;
  axis.length = high - low;
  axis.width = right - left;
  return axis;
}

void MakeLine(const Axis& axis, Mark* mark) {
  cv::Point2d normal(-axis.along.y, axis.along.x);
  double distance = axis.centre.dot(normal);
  if (distance < 0) {
    normal = -normal;
    distance = -distance;
  }
  mark->is_line = true;
  mark->size_um = axis.length;
  mark->radius_um = distance;
  mark->angle = std::atan2(normal.y, normal.x);
  mark->angle_sigma = std::hypot(kLineAngleSigma, 2 * kPlaceSigma_um / axis.length);
  mark->radius_sigma_um = std::hypot(kPlaceSigma_um, mark->angle_sigma * axis.length / 4);
}

bool IsPieceOf(const Mark& a, const Mark& b) {
  if (a.is_line != b.is_line) return false;
  if (a.is_line) {
    return std::abs(Wrapped(a.angle - b.angle)) < 4 * kPi / 180 &&
           std::abs(a.radius_um - b.radius_um) < 3;
  }
  const cv::Point2d pa(a.radius_um * std::cos(a.angle), a.radius_um * std::sin(a.angle));
  const cv::Point2d pb(b.radius_um * std::cos(b.angle), b.radius_um * std::sin(b.angle));
  return std::hypot(pa.x - pb.x, pa.y - pb.y) < 4 + 0.5 * (a.size_um + b.size_um);
}

bool CouldBeSame(const Mark& a, const Mark& b) {
  if (a.is_line != b.is_line || a.dark != b.dark) return false;
  if (std::abs(a.radius_um - b.radius_um) >
      kWindowSigmas * std::hypot(a.radius_sigma_um, b.radius_sigma_um)) {
    return false;
  }
  if (a.is_line) return true;  // how much of a scratch is seen differs
  const double small = std::min(a.size_um, b.size_um);
  const double large = std::max(a.size_um, b.size_um);
  return large <= kMostSizeRatio * small + kSizeSlack_um;
}

double RotationOf(const Mark& a, const Mark& b, bool mirrored) {
  return mirrored ? Wrapped(b.angle + a.angle) : Wrapped(b.angle - a.angle);
}

// A line close to the centre has its foot on either side.
bool IsTwoSided(const Mark& a, const Mark& b) {
  return a.is_line && std::min(a.radius_um, b.radius_um) < 2 * a.radius_sigma_um;
}

}  // namespace

std::vector<Mark> MarksOf(const FibreGrade& fibre) {
  std::vector<Mark> all;
  for (std::size_t i = 0; i < fibre.features.size(); ++i) {
    const Feature& feature = fibre.features[i];
    if (feature.outline_px.size() < 3 || feature.cut_by_frame) continue;
    Mark mark;
    mark.feature = i;
    mark.dark = feature.contrast_peak < 0;
    mark.at_px = feature.centre_px;
    mark.um_per_px = fibre.scale.um_per_px;
    std::vector<cv::Point2d> outline;
    for (const cv::Point2d& p : feature.outline_px) outline.push_back(fibre.scale.ToUm(p));
    const Axis axis = AxisOf(outline);
    if (axis.length > kLeastLine_um && axis.length > kLongOverWide * axis.width) {
      MakeLine(axis, &mark);
    } else {
      mark.size_um = feature.diameter_enclosing_um;
      mark.radius_um = std::hypot(feature.centre_um.x, feature.centre_um.y);
      mark.angle = std::atan2(feature.centre_um.y, feature.centre_um.x);
      if (mark.radius_um < kLeastRadius_um) continue;
      mark.radius_sigma_um =
          kPlaceSigma_um + kPlaceOfSize * mark.size_um + kPlaceOfRadius * mark.radius_um;
      mark.angle_sigma = mark.radius_sigma_um / mark.radius_um;
    }
    all.push_back(mark);
  }
  std::stable_sort(
      all.begin(), all.end(), [](const Mark& a, const Mark& b) { return a.size_um > b.size_um; });
  std::vector<Mark> marks;
  for (const Mark& mark : all) {
    const bool piece = std::any_of(
        marks.begin(), marks.end(), [&](const Mark& kept) { return IsPieceOf(mark, kept); });
    if (!piece && marks.size() < kMostMarks) marks.push_back(mark);
  }
  return marks;
}

bool AtSamePixel(const Mark& a, const Mark& b) {
  return std::hypot(a.at_px.x - b.at_px.x, a.at_px.y - b.at_px.y) < 1.0 &&
         std::abs(a.um_per_px - b.um_per_px) < 0.01 * a.um_per_px;
}

std::vector<double> ScoreMarks(const std::vector<Mark>& before,
                               const std::vector<Mark>& after,
                               bool mirrored,
                               bool leave_out_fixed) {
  std::vector<double> score(kNumAngles, 0.0);
  std::vector<double> best(kNumAngles);
  const double step = 2 * kPi / kNumAngles;
  for (const Mark& a : before) {
    std::vector<const Mark*> rivals;
    for (const Mark& b : after) {
      if (CouldBeSame(a, b) && !(leave_out_fixed && AtSamePixel(a, b))) rivals.push_back(&b);
    }
    if (rivals.empty()) continue;
    std::fill(best.begin(), best.end(), 0.0);
    for (const Mark* b : rivals) {
      const double sigma = std::hypot(a.angle_sigma, b->angle_sigma);
      const double off =
          (a.radius_um - b->radius_um) / std::hypot(a.radius_sigma_um, b->radius_sigma_um);
      // Density of the right angle over that of any, given that the distance agrees.
      const double radial = 2 * kWindowSigmas / std::sqrt(2 * kPi) * std::exp(-0.5 * off * off);
      const double peak =
          kStays * radial * std::sqrt(2 * kPi) / sigma / static_cast<double>(rivals.size());
      const int reach = static_cast<int>(4 * sigma / step);
      for (int side = 0; side < (IsTwoSided(a, *b) ? 2 : 1); ++side) {
        const double rotation = RotationOf(a, *b, mirrored) + side * kPi;
        const int middle = static_cast<int>(std::lround(rotation / step));
        for (int k = -reach; k <= reach; ++k) {
          const double t = ((middle + k) * step - rotation) / sigma;
          const auto at =
              static_cast<std::size_t>(((middle + k) % kNumAngles + kNumAngles) % kNumAngles);
          const double gain = std::log1p(peak * std::exp(-0.5 * t * t));
          best[at] = std::max(best[at], std::min(gain, kMostOfOne));
        }
      }
    }
    for (std::size_t i = 0; i < score.size(); ++i) score[i] += best[i];
  }
  return score;
}

std::vector<std::pair<std::size_t, std::size_t>> CommonMarks(const std::vector<Mark>& before,
                                                             const std::vector<Mark>& after,
                                                             double rotation,
                                                             bool mirrored,
                                                             bool leave_out_fixed) {
  std::vector<std::pair<std::size_t, std::size_t>> pairs;
  std::vector<bool> taken(after.size(), false);
  for (std::size_t i = 0; i < before.size(); ++i) {
    std::optional<std::size_t> best;
    double best_off = kWindowSigmas;
    for (std::size_t j = 0; j < after.size(); ++j) {
      const Mark& a = before[i];
      const Mark& b = after[j];
      if (taken[j] || !CouldBeSame(a, b) || (leave_out_fixed && AtSamePixel(a, b))) continue;
      double away = std::abs(Wrapped(RotationOf(a, b, mirrored) - rotation));
      if (IsTwoSided(a, b)) away = std::min(away, kPi - away);
      const double off = away / std::hypot(a.angle_sigma, b.angle_sigma);
      if (off < best_off) {
        best_off = off;
        best = j;
      }
    }
    if (!best) continue;
    taken[*best] = true;
    pairs.emplace_back(i, *best);
  }
  return pairs;
}

}  // namespace endgrade::compare
