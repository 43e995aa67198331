#include "locate/sector_profile.h"

#include "locate/level.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

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

}  // namespace endgrade::locate
