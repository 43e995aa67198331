#include "locate/sector_profile.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

// What the model leaves out, as a share of the profile's range.
constexpr double kModelError = 0.004;
// Share of the radius beyond which it leaves out more and more: light is not straight for long.
constexpr double kNear = 0.07;
// Luma units beyond which a mean holds clipped pixels.
constexpr double kClippedWhite = 247.0;
constexpr double kClippedBlack = 3.0;

// Standard error of a column's mean, from neighbouring sectors' differences: slow changes of light
// along the rim are no noise, and neither is a scratch across a few of them.
double ColumnNoise(const cv::Mat& values, const std::vector<double>& weights, int column) {
  std::vector<float> misses;
  for (int ray = 0; ray < values.rows; ++ray) {
    const int next = (ray + 1) % values.rows;
    if (weights[static_cast<size_t>(ray)] <= 0.0 || weights[static_cast<size_t>(next)] <= 0.0) {
      continue;
    }
    const float miss = values.at<float>(ray, column) - values.at<float>(next, column);
    if (std::isfinite(miss)) misses.push_back(std::abs(miss));
  }
  if (misses.empty()) return 1.0;
  const auto count = static_cast<double>(misses.size());
  // 1.4826 times the median size is a standard deviation; a difference has twice the variance.
  return 1.4826 / std::sqrt(2.0) * static_cast<double>(Median(misses)) / std::sqrt(0.8 * count);
}

// Mean of the middle half: a scratch or a speck across a few sectors does not move it.
double MiddleMean(std::vector<float>& sample) {
  const auto quarter = static_cast<std::ptrdiff_t>(sample.size() / 4);
  const auto from = sample.begin() + quarter;
  const auto to = sample.end() - quarter;
  std::nth_element(sample.begin(), from, sample.end());
  if (to != sample.end()) std::nth_element(from, to, sample.end());
  double sum = 0.0;
  for (auto value = from; value != to; ++value) sum += static_cast<double>(*value);
  return sum / static_cast<double>(to - from);
}

}  // namespace

std::vector<double> CommonProfile(const cv::Mat& values, const std::vector<double>& weights) {
  std::vector<double> profile(static_cast<size_t>(values.cols), 0.0);
  std::vector<float> all;
  std::vector<float> chosen;
  for (int column = 0; column < values.cols; ++column) {
    all.clear();
    chosen.clear();
    for (int ray = 0; ray < values.rows; ++ray) {
      const float value = values.at<float>(ray, column);
      if (!std::isfinite(value)) continue;
      all.push_back(value);
      if (!weights.empty() && weights[static_cast<size_t>(ray)] > 0.0) chosen.push_back(value);
    }
    profile[static_cast<size_t>(column)] =
        chosen.empty() ? static_cast<double>(Median(all)) : MiddleMean(chosen);
  }
  return profile;
}

RimProfile ProfileOf(const PolarMap& map, const std::vector<double>& weights, double radius) {
  RimProfile profile;
  profile.level = CommonProfile(map.values, weights);
  const auto [low, high] = std::minmax_element(profile.level.begin(), profile.level.end());
  const double range = *high - *low;
  const double floor = std::max(0.02, kModelError * range);
  for (int column = 0; column < map.values.cols; ++column) {
    profile.distance.push_back((map.RadiusAt(column) - 1.0) * radius);
    double& level = profile.level[static_cast<size_t>(column)];
    double noise = std::hypot(ColumnNoise(map.values, weights, column), floor);
    // The model is at its best near the rim.
    const double far = profile.distance.back() / (kNear * radius);
    noise = std::hypot(noise, floor * far * far);
    // Clipped: the true value is beyond by nobody knows how much.
    if (level > kClippedWhite || level < kClippedBlack) noise = std::hypot(noise, 0.1 * range);
    if (level > kClippedWhite) level = std::max(level, 255.0) + 0.04 * range;
    if (level < kClippedBlack) level = std::min(level, 0.0) - 0.04 * range;
    profile.noise.push_back(noise);
  }
  return profile;
}

}  // namespace endgrade::locate
