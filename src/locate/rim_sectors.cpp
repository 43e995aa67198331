#include "locate/rim_sectors.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr int kRaysASector = 4;
constexpr double kLeastPitch = 0.5;  // pixels of the level

// What the model leaves out, as a share of the profile's range.
constexpr double kModelError = 0.004;
// Share of the radius beyond which it leaves out more and more: light is not straight for long.
constexpr double kNear = 0.07;
// Luma units beyond which a mean holds clipped pixels.
constexpr double kClippedWhite = 247.0;
constexpr double kClippedBlack = 3.0;
// Values closer than a pixel or two share pixels: fewer are independent than there are.
constexpr double kAlikePx = 1.5;

// Mean of the middle two of four: a scratch along one of the rays does not move it.
float MiddleOfFour(float a, float b, float c, float d) {
  return 0.5F * (a + b + c + d - std::min({a, b, c, d}) - std::max({a, b, c, d}));
}

// Standard error of a sector's value in one column, from neighbouring rays' differences: slow
// changes of light along the rim are no noise.
double ColumnNoise(const cv::Mat& values, int column) {
  std::vector<float> misses;
  for (int ray = 0; ray < values.rows; ++ray) {
    if (ray % kRaysASector == kRaysASector - 1) continue;
    const float miss = values.at<float>(ray, column) - values.at<float>(ray + 1, column);
    if (std::isfinite(miss)) misses.push_back(std::abs(miss));
  }
  // 1.4826 times the median size is a standard deviation; a difference has twice the variance; the
  // middle two of four have 0.30 of one ray's (from simulated normal values).
  return 1.4826 * std::sqrt(0.30 / 2.0) * static_cast<double>(Median(misses));
}

// The mean over neighbouring columns: a single one's median is rough.
std::vector<double> ColumnNoises(const cv::Mat& values) {
  std::vector<double> rough;
  for (int column = 0; column < values.cols; ++column) rough.push_back(ColumnNoise(values, column));
  std::vector<double> smooth(rough.size());
  const int last = values.cols - 1;
  for (int column = 0; column <= last; ++column) {
    double sum = 0.0;
    for (int k = -3; k <= 3; ++k)
      sum += rough[static_cast<size_t>(std::clamp(column + k, 0, last))];
    smooth[static_cast<size_t>(column)] = sum / 7.0;
  }
  return smooth;
}

double RangeOf(const std::vector<RimSector>& sectors) {
  std::vector<float> ranges;
  for (const RimSector& sector : sectors) {
    const auto [low, high] = std::minmax_element(sector.level.begin(), sector.level.end());
    ranges.push_back(*high - *low);
  }
  return static_cast<double>(Median(ranges));
}

void Weigh(const std::vector<double>& noises, RimData* data) {
  const double range = RangeOf(data->sectors);
  const double floor = std::max(0.05, kModelError * range);
  const double alike = std::sqrt(std::max(1.0, kAlikePx / data->pitch));
  for (RimSector& sector : data->sectors) {
    for (size_t i = 0; i < sector.level.size(); ++i) {
      const double distance = data->first + data->pitch * static_cast<double>(i);
      const double far = distance / (kNear * data->radius);
      double noise = std::hypot(noises[i], floor, floor * far * far);
      const auto level = static_cast<double>(sector.level[i]);
      if (level > kClippedWhite || level < kClippedBlack) noise = std::hypot(noise, 0.1 * range);
      sector.weight.push_back(static_cast<float>(1.0 / (alike * noise)));
    }
  }
}

}  // namespace

RimData GatherSectors(const Level& level, const RimFrame& in_level, const SectorPlan& plan) {
  RimData data;
  data.radius = in_level.Radius();
  data.factor = level.factor;
  PolarGrid grid;
  grid.rays = plan.sectors * kRaysASector;
  const double around = 2.0 * CV_PI * data.radius / grid.rays;
  grid.averaged = std::clamp(static_cast<int>(std::lround(around)), 1, 12);
  grid.from = plan.from;
  grid.to = plan.to;
  const double span = (plan.to - plan.from) * data.radius;
  grid.columns = std::clamp(static_cast<int>(span / kLeastPitch), 20, plan.most_columns);
  const PolarMap map = SampleRays(level, in_level, grid);
  data.first = (map.first - 1.0) * data.radius;
  data.pitch = map.step * data.radius;
  for (int s = 0; s < plan.sectors; ++s) {
    RimSector sector;
    // Rays run from the first's own middle.
    const double turn = (kRaysASector * s + 0.5 * (kRaysASector - 1)) / grid.rays;
    sector.cos_t = std::cos(2.0 * CV_PI * turn);
    sector.sin_t = std::sin(2.0 * CV_PI * turn);
    const float* rays[kRaysASector];
    for (int k = 0; k < kRaysASector; ++k) rays[k] = map.values.ptr<float>(kRaysASector * s + k);
    bool seen = true;
    for (int i = 0; i < grid.columns; ++i) {
      const float value = MiddleOfFour(rays[0][i], rays[1][i], rays[2][i], rays[3][i]);
      seen = seen && std::isfinite(rays[0][i] + rays[1][i] + rays[2][i] + rays[3][i]);
      sector.level.push_back(value);
    }
    if (seen) data.sectors.push_back(std::move(sector));
  }
  if (!data.sectors.empty()) Weigh(ColumnNoises(map.values), &data);
  return data;
}

}  // namespace endgrade::locate
