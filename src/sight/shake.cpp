#include "sight/shake.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr int kRays = 144;
constexpr double kInsideUm = 7.0;
constexpr double kOutsideUm = 5.0;
constexpr double kStepUm = 0.25;
constexpr size_t kLeastRays = 72;
constexpr double kLeastStepShare = 0.4;  // of the median ray's step: the others hide the rim
constexpr double kLeastSwingShare = 0.18;
constexpr double kLeastSwingErrors = 4.0;

double LevelAt(const ContrastMap& map, cv::Point2d cell) {
  const int x = static_cast<int>(std::floor(cell.x));
  const int y = static_cast<int>(std::floor(cell.y));
  if (x < 0 || y < 0 || x + 1 >= map.level.cols || y + 1 >= map.level.rows) return std::nan("");
  const double fx = cell.x - x;
  const double fy = cell.y - y;
  const auto* top = map.level.ptr<float>(y) + x;
  const auto* bottom = map.level.ptr<float>(y + 1) + x;
  return (static_cast<double>(top[0]) * (1 - fx) + static_cast<double>(top[1]) * fx) * (1 - fy) +
         (static_cast<double>(bottom[0]) * (1 - fx) + static_cast<double>(bottom[1]) * fx) * fy;
}

struct Ray {
  double angle = 0, width_um = 0, step = 0;
};

// Height of the profile along one ray over its steepest slope; width 0 where it leaves the picture.
Ray LookAlong(const ContrastMap& map, const cv::Matx22d& cell_from_um, double angle) {
  Ray ray;
  ray.angle = angle;
  const cv::Point2d direction(std::cos(angle), std::sin(angle));
  std::vector<double> profile;
  profile.reserve(static_cast<size_t>((kInsideUm + kOutsideUm) / kStepUm) + 1);
  for (double r = -kInsideUm; r <= kOutsideUm; r += kStepUm) {
    const double radius = map.cladding_radius_um + r;
    const cv::Vec2d cell = cell_from_um * cv::Vec2d(radius * direction.x, radius * direction.y);
    const double level = LevelAt(map, map.centre_cell + cv::Point2d(cell[0], cell[1]));
    if (std::isnan(level)) return ray;
    profile.push_back(level);
  }
  double steepest = 0;
  for (size_t i = 4; i < profile.size(); ++i) {
    steepest = std::max(steepest, std::abs(profile[i] - profile[i - 4]) / (4 * kStepUm));
  }
  const auto [low, high] = std::minmax_element(profile.begin(), profile.end());
  ray.step = *high - *low;
  if (steepest > 0) ray.width_um = ray.step / steepest;
  return ray;
}

// width = mean + b cos 2a + c sin 2a by least squares, far-off rays held in.
struct Wave {
  cv::Vec3d fit{0, 0, 0};
  double error = 0;  // of an amplitude, standard
};

Wave FitWave(const std::vector<Ray>& rays) {
  Wave wave;
  std::vector<double> weights(rays.size(), 1.0);
  for (int round = 0; round < 6; ++round) {
    cv::Matx33d normal = cv::Matx33d::zeros();
    cv::Vec3d right(0, 0, 0);
    for (size_t i = 0; i < rays.size(); ++i) {
      const cv::Vec3d row(1.0, std::cos(2 * rays[i].angle), std::sin(2 * rays[i].angle));
      normal += weights[i] * (row * row.t());
      right += weights[i] * rays[i].width_um * row;
    }
    if (!cv::solve(normal, right, wave.fit, cv::DECOMP_CHOLESKY)) return {};
    std::vector<double> off;
    for (const Ray& ray : rays) {
      const cv::Vec3d row(1.0, std::cos(2 * ray.angle), std::sin(2 * ray.angle));
      off.push_back(std::abs(ray.width_um - row.dot(wave.fit)));
    }
    std::vector<double> sorted = off;
    std::nth_element(sorted.begin(),
                     sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                     sorted.end());
    const double sigma = 1.4826 * sorted[sorted.size() / 2] + 1e-9;
    for (size_t i = 0; i < off.size(); ++i)
      weights[i] = std::min(1.0, 1.5 * sigma / (off[i] + 1e-9));
    // Neighbouring rays see the same unevenness of the rim: a third of them count.
    wave.error = sigma * std::sqrt(2.0 / (static_cast<double>(rays.size()) / 3.0));
  }
  return wave;
}

}  // namespace

RimWidths MeasureRimWidths(const ContrastMap& map) {
  RimWidths widths;
  if (map.level.empty()) return widths;
  const cv::Matx22d cell_from_um = map.um_from_cell.inv();
  std::vector<Ray> rays;
  std::vector<double> steps;
  for (int i = 0; i < kRays; ++i) {
    const Ray ray = LookAlong(map, cell_from_um, 2 * CV_PI * i / kRays);
    if (ray.width_um <= 0) continue;
    rays.push_back(ray);
    steps.push_back(ray.step);
  }
  if (rays.size() < kLeastRays) return widths;
  std::nth_element(
      steps.begin(), steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2), steps.end());
  const double least = kLeastStepShare * steps[steps.size() / 2];
  std::erase_if(rays, [&](const Ray& ray) { return ray.step < least; });
  if (rays.size() < kLeastRays) return widths;
  const Wave wave = FitWave(rays);
  widths.mean_um = wave.fit[0];
  widths.swing_um = std::hypot(wave.fit[1], wave.fit[2]);
  widths.shaken = widths.swing_um > kLeastSwingShare * widths.mean_um &&
                  widths.swing_um > kLeastSwingErrors * wave.error;
  return widths;
}

}  // namespace endgrade
