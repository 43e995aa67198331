#include "locate/core_centre.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade::locate {
namespace {

constexpr double kInnerUm = 6.0;      // its height is read up to here,
constexpr double kOuterFromUm = 4.0;  // the glass's from this far beyond its edge
constexpr double kOuterToUm = 8.0;    // up to here
constexpr double kNearUm = 0.5;       // of the circle
constexpr double kLeastNear = 0.6;    // share of directions
constexpr int kRounds = 4;
constexpr double kLeastHeight = 0.5;  // of a core against its glass, luma units
constexpr std::size_t kRays = 128;

cv::Point2d Direction(std::size_t ray) {
  const double turn = 2.0 * CV_PI * static_cast<double>(ray) / kRays;
  return {std::cos(turn), std::sin(turn)};
}

// NaN outside of the patch.
double LevelAt(const FacePatch& patch, cv::Point2d um) {
  const cv::Point cell(cvRound((um.x + patch.half_um) / patch.um),
                       cvRound((um.y + patch.half_um) / patch.um));
  const bool within = cv::Rect({0, 0}, patch.level.size()).contains(cell);
  return within ? static_cast<double>(patch.level.at<float>(cell)) : std::nan("");
}

// Over all directions and the radii between; NaN when nothing of that is in view.
double MedianBetween(const FacePatch& patch, cv::Point2d centre, double from_um, double to_um) {
  std::vector<double> values;
  for (double radius = from_um; radius <= to_um; radius += patch.um) {
    for (std::size_t ray = 0; ray < kRays; ++ray) {
      const double value = LevelAt(patch, centre + radius * Direction(ray));
      if (std::isfinite(value)) values.push_back(value);
    }
  }
  if (values.empty()) return std::nan("");
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Where the brightness, seen from outside, first crosses the height that is half-way to `inside`.
std::vector<cv::Point2d> BorderOf(
    const FacePatch& patch, cv::Point2d about, double from_um, double glass, double inside) {
  const double half = 0.5 * (glass + inside);
  std::vector<cv::Point2d> border;
  for (std::size_t ray = 0; ray < kRays; ++ray) {
    const cv::Point2d out = Direction(ray);
    double outer = std::nan("");
    for (double radius = from_um; radius > kInnerUm; radius -= patch.um) {
      const double value = LevelAt(patch, about + radius * out);
      if (std::isfinite(outer) && (value - half) * (inside - glass) >= 0) {
        const double back = value != outer ? (value - half) / (value - outer) : 0.0;
        border.push_back(about + (radius + std::clamp(back, 0.0, 1.0) * patch.um) * out);
        break;
      }
      outer = value;
    }
  }
  return border;
}

struct Circle {
  cv::Point2d centre;
  double radius = 0;

  [[nodiscard]] double Off(cv::Point2d p) const {
    return std::abs(std::hypot(p.x - centre.x, p.y - centre.y) - radius);
  }
};

// x^2 + y^2 = 2 a x + 2 b y + c, by least squares.
std::optional<Circle> CircleThrough(const std::vector<cv::Point2d>& border) {
  cv::Matx33d normal = cv::Matx33d::zeros();
  cv::Vec3d right(0, 0, 0);
  for (const cv::Point2d& p : border) {
    const cv::Vec3d row(2.0 * p.x, 2.0 * p.y, 1.0);
    normal += row * row.t();
    right += p.dot(p) * row;
  }
  cv::Vec3d solved;
  if (!cv::solve(normal, right, solved, cv::DECOMP_CHOLESKY)) return std::nullopt;
  const cv::Point2d centre(solved[0], solved[1]);
  return Circle{centre, std::sqrt(std::max(0.0, solved[2] + centre.dot(centre)))};
}

}  // namespace

std::optional<cv::Point2d> CentreByBorder(const FacePatch& patch,
                                          cv::Point2d about_um,
                                          double radius_um) {
  const double from = radius_um + kOuterFromUm;
  const double glass = MedianBetween(patch, about_um, from, radius_um + kOuterToUm);
  const double inside = MedianBetween(patch, about_um, 0.0, kInnerUm);
  if (!(std::abs(inside - glass) > kLeastHeight)) return std::nullopt;
  std::vector<cv::Point2d> border = BorderOf(patch, about_um, from, glass, inside);
  std::optional<Circle> circle;
  for (int round = 0; round < kRounds; ++round) {
    if (static_cast<double>(border.size()) < kLeastNear * kRays) return std::nullopt;
    circle = CircleThrough(border);
    if (!circle) return std::nullopt;
    const double near = round + 1 < kRounds ? 2.0 * kNearUm : kNearUm;
    std::erase_if(border, [&](const cv::Point2d& p) { return circle->Off(p) > near; });
  }
  if (static_cast<double>(border.size()) < kLeastNear * kRays) return std::nullopt;
  return circle->centre;
}

}  // namespace endgrade::locate
