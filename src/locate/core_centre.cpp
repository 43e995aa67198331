#include "locate/core_centre.h"

#include <algorithm>
#include <cmath>
#include <numeric>
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
constexpr double kMarkTimes = 4.0;      // what the glass differs by: a mark on it
constexpr double kLeastLight = 0.25;    // of the middle's
constexpr double kAroundUm = 6.0;       // to either side of the border
constexpr double kUnmarkedShare = 0.9;  // of the places

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

// Between the cells; NaN outside of the patch.
double SmoothLevelAt(const FacePatch& patch, cv::Point2d um) {
  const double x = (um.x + patch.half_um) / patch.um;
  const double y = (um.y + patch.half_um) / patch.um;
  const int left = static_cast<int>(std::floor(x));
  const int top = static_cast<int>(std::floor(y));
  if (left < 0 || top < 0 || left + 1 >= patch.level.cols || top + 1 >= patch.level.rows) {
    return std::nan("");
  }
  const auto at = [&](int row, int column) {
    return static_cast<double>(patch.level.at<float>(row, column));
  };
  const double right = x - left;
  const double upper = (1.0 - right) * at(top, left) + right * at(top, left + 1);
  const double lower = (1.0 - right) * at(top + 1, left) + right * at(top + 1, left + 1);
  return upper + (y - top) * (lower - upper);
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

// level + slope . place, um
struct Plane {
  double level = 0;
  cv::Point2d slope;

  [[nodiscard]] double At(cv::Point2d um) const { return level + slope.dot(um); }
};

// By least squares; nothing where the places lie in a row.
std::optional<Plane> PlaneThrough(const std::vector<cv::Point3d>& places) {
  cv::Matx33d normal = cv::Matx33d::zeros();
  cv::Vec3d right(0, 0, 0);
  for (const cv::Point3d& p : places) {
    const cv::Vec3d row(1.0, p.x, p.y);
    normal += row * row.t();
    right += p.z * row;
  }
  cv::Vec3d solved;
  if (!cv::solve(normal, right, solved, cv::DECOMP_CHOLESKY)) return std::nullopt;
  return Plane{solved[0], {solved[1], solved[2]}};
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

// Of the places, off the plane.
double MedianOff(const std::vector<cv::Point3d>& places, const Plane& plane) {
  std::vector<double> off;
  off.reserve(places.size());
  for (const cv::Point3d& p : places) off.push_back(std::abs(p.z - plane.At({p.x, p.y})));
  const auto middle = off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2);
  std::nth_element(off.begin(), middle, off.end());
  return *middle;
}

}  // namespace

FacePatch WithEvenLight(const FacePatch& patch, cv::Point2d about_um, double radius_um) {
  std::vector<cv::Point3d> glass;
  for (double radius = radius_um + kOuterFromUm; radius <= radius_um + kOuterToUm;
       radius += patch.um) {
    for (std::size_t ray = 0; ray < kRays; ++ray) {
      const cv::Point2d um = about_um + radius * Direction(ray);
      const double value = LevelAt(patch, um);
      if (std::isfinite(value)) glass.emplace_back(um.x, um.y, value);
    }
  }
  std::optional<Plane> plane;
  for (int round = 0; round < kRounds; ++round) {
    if (glass.size() < kRays) return patch;
    plane = PlaneThrough(glass);
    if (!plane || plane->level <= 0) return patch;
    const double near = kMarkTimes * MedianOff(glass, *plane) + kLeastHeight;
    std::erase_if(glass, [&](const cv::Point3d& p) {
      return std::abs(p.z - plane->At({p.x, p.y})) > near;
    });
  }
  FacePatch even = patch;
  even.level = patch.level.clone();
  for (int y = 0; y < even.level.rows; ++y) {
    for (int x = 0; x < even.level.cols; ++x) {
      const cv::Point2d um(x * patch.um - patch.half_um, y * patch.um - patch.half_um);
      const double share = plane->At(um) / plane->level;
      if (share > kLeastLight) even.level.at<float>(y, x) /= static_cast<float>(share);
    }
  }
  return even;
}

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

bool IsDisc(const FacePatch& patch, cv::Point2d centre_um, double radius_um, double least_step) {
  const double inside = MedianBetween(patch, centre_um, 0.5 * radius_um, 0.8 * radius_um);
  const double outside = MedianBetween(patch, centre_um, 1.3 * radius_um, 1.6 * radius_um);
  return std::abs(inside - outside) > least_step;
}

double UnlikenessAround(const FacePatch& patch, cv::Point2d centre_um, double radius_um) {
  std::vector<double> squares;
  std::vector<double> values;
  const double from = std::max(0.0, radius_um - kAroundUm);
  for (double radius = from; radius <= radius_um + kAroundUm; radius += patch.um) {
    values.clear();
    for (std::size_t ray = 0; ray < kRays; ++ray) {
      const double value = SmoothLevelAt(patch, centre_um + radius * Direction(ray));
      if (std::isfinite(value)) values.push_back(value);
    }
    if (values.empty()) continue;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    const double median = *middle;
    for (const double value : values) squares.push_back((value - median) * (value - median));
  }
  if (squares.empty()) return 0.0;
  const auto most =
      static_cast<std::ptrdiff_t>(kUnmarkedShare * static_cast<double>(squares.size()));
  std::nth_element(squares.begin(), squares.begin() + most, squares.end());
  const double sum = std::accumulate(squares.begin(), squares.begin() + most, 0.0);
  return std::sqrt(sum / std::max(1.0, static_cast<double>(most)));
}

}  // namespace endgrade::locate
