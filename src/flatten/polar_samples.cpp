#include "flatten/polar_samples.h"

#include "core/wide.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace endgrade {
namespace {

float Bilinear(const cv::Mat& level, double x, double y) {
  if (x < 0 || y < 0 || x >= level.cols - 1 || y >= level.rows - 1) {
    return std::numeric_limits<float>::quiet_NaN();
  }
  const int x0 = static_cast<int>(x);
  const int y0 = static_cast<int>(y);
  const float fx = static_cast<float>(x - x0);
  const float fy = static_cast<float>(y - y0);
  const float* top = level.ptr<float>(y0) + x0;
  const float* bottom = level.ptr<float>(y0 + 1) + x0;
  const float upper = top[0] + fx * (top[1] - top[0]);
  const float lower = bottom[0] + fx * (bottom[1] - bottom[0]);
  return upper + fy * (lower - upper);
}

// What each direction adds to a circle's centre a micrometre, cells.
struct Steps {
  std::vector<double> x, y;

  // Whether a circle lies between the cells of a level all around: rounding keeps the order of its
  // places.
  [[nodiscard]] bool StayWithin(const cv::Mat& level, cv::Point2d centre, double radius) const {
    if (radius < 0) return false;
    const auto within = [radius](const std::vector<double>& steps, double middle, int cells) {
      const auto [least, most] = std::minmax_element(steps.begin(), steps.end());
      return middle + *least * radius >= 0 && middle + *most * radius < cells - 1;
    };
    return within(x, centre.x, level.cols) && within(y, centre.y, level.rows);
  }
};

// Bilinear() at centre + step * radius, for circles that stay within: four places at once.
ENDGRADE_WIDE void ReadCircle(const cv::Mat& level,
                              cv::Point2d centre,
                              double radius,
                              const Steps& steps,
                              float* __restrict values) {
  constexpr size_t kFour = 4;
  using FourInts = int __attribute__((vector_size(16)));
  const auto* cells = level.ptr<float>(0);
  const int stride = static_cast<int>(level.step1());
  const size_t count = steps.x.size();
  size_t i = 0;
  for (; i + kFour <= count; i += kFour) {
    const Four x = centre.x + FourAt(&steps.x[i]).value * radius;
    const Four y = centre.y + FourAt(&steps.y[i]).value * radius;
    const FourInts x0 = __builtin_convertvector(x, FourInts);
    const FourInts y0 = __builtin_convertvector(y, FourInts);
    const FourFloats fx =
        __builtin_convertvector(x - __builtin_convertvector(x0, Four), FourFloats);
    const FourFloats fy =
        __builtin_convertvector(y - __builtin_convertvector(y0, Four), FourFloats);
    const FourInts place = y0 * stride + x0;
    const float* const at[kFour] = {
        cells + place[0], cells + place[1], cells + place[2], cells + place[3]};
    const auto corner = [&](std::ptrdiff_t off) {
      return FourFloats{at[0][off], at[1][off], at[2][off], at[3][off]};
    };
    const FourFloats left = corner(0);
    const FourFloats below = corner(stride);
    const FourFloats upper = left + fx * (corner(1) - left);
    const FourFloats lower = below + fx * (corner(stride + 1) - below);
    reinterpret_cast<FourFloatsAnywhere*>(values + i)->value = upper + fy * (lower - upper);
  }
  for (; i < count; ++i) {
    values[i] = Bilinear(level, centre.x + steps.x[i] * radius, centre.y + steps.y[i] * radius);
  }
}

bool IsHidden(const cv::Mat& valid, cv::Point2d cell) {
  const cv::Point at(cvRound(cell.x), cvRound(cell.y));
  return cv::Rect({0, 0}, valid.size()).contains(at) && valid.at<uchar>(at) == 0;
}

}  // namespace

PolarSamples ReadCircles(const ContrastMap& map,
                         const Scale& scale,
                         cv::Point2d centre_um,
                         const Circles& circles) {
  PolarSamples samples;
  samples.circles = circles;
  samples.centre_um = centre_um;
  samples.num_directions = circles.num_directions;
  samples.num_radii = std::max(
      0, static_cast<int>(std::floor((circles.to_um - circles.from_um) / circles.step_um)) + 1);
  for (int d = 0; d < circles.num_directions; ++d) {
    const double angle = 2.0 * std::numbers::pi * d / circles.num_directions;
    samples.directions.emplace_back(std::cos(angle), std::sin(angle));
  }
  samples.values.resize(static_cast<size_t>(samples.num_radii) *
                        static_cast<size_t>(circles.num_directions));
  // A micrometre in each direction, in cells.
  const cv::Matx22d cell_from_um = scale.um_from_px.inv() * (1.0 / map.cell_px);
  const auto step_of = [&](cv::Point2d um) {
    const cv::Vec2d cells = cell_from_um * cv::Vec2d(um.x, um.y);
    return cv::Point2d(cells[0], cells[1]);
  };
  Steps steps;
  for (const cv::Point2d& direction : samples.directions) {
    const cv::Point2d step = step_of(direction);
    steps.x.push_back(step.x);
    steps.y.push_back(step.y);
  }
  const cv::Point2d centre = map.CellFromPx(scale.centre_px) + step_of(centre_um);
  const bool all_seen = map.valid.empty();
  for (int i = 0; i < samples.num_radii; ++i) {
    const double radius = samples.Radius(i);
    float* values = samples.values.data() + samples.IndexOf(i, 0);
    if (all_seen && steps.StayWithin(map.level, centre, radius)) {
      ReadCircle(map.level, centre, radius, steps, values);
      continue;
    }
    for (size_t d = 0; d < steps.x.size(); ++d) {
      const cv::Point2d cell = centre + cv::Point2d(steps.x[d], steps.y[d]) * radius;
      const bool seen = all_seen || !IsHidden(map.valid, cell);
      values[d] =
          seen ? Bilinear(map.level, cell.x, cell.y) : std::numeric_limits<float>::quiet_NaN();
    }
  }
  return samples;
}

}  // namespace endgrade
