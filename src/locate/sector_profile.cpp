#include "locate/sector_profile.h"

#include "core/order_statistics.h"
#include "locate/level.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

// Mean of the middle half: a scratch or a speck across a few sectors does not move it.
double MiddleMean(const std::vector<float>& sample) {
  const std::size_t quarter = sample.size() / 4;
  OrderStatistics ranked(sample);
  const float least = ranked.At(quarter);
  const float most = ranked.At(sample.size() - quarter - 1);
  double sum = 0.0;
  std::size_t up_to_least = 0;
  std::size_t below_most = 0;
  for (const float value : sample) {
    up_to_least += value <= least ? 1 : 0;
    below_most += value < most ? 1 : 0;
    sum += value > least && value < most ? static_cast<double>(value) : 0.0;
  }
  const auto kept = static_cast<double>(sample.size() - 2 * quarter);
  if (least == most) return static_cast<double>(least);
  const auto least_count = static_cast<double>(up_to_least - quarter);
  const auto most_count = static_cast<double>(sample.size() - quarter - below_most);
  sum += least_count * static_cast<double>(least) + most_count * static_cast<double>(most);
  return sum / kept;
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
