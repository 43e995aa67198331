#include "locate/sector_profile.h"

#include "core/order_statistics.h"

#include <algorithm>
#include <cmath>
#include <span>

namespace endgrade::locate {
namespace {

// Mean of the middle half: a scratch or a speck across a few sectors does not move it.
double MiddleMean(std::span<const float> sample) {
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

// Those of some values that are numbers, in order.
class Known {
 public:
  explicit Known(std::size_t most) : values_(most) {}

  void Clear() { count_ = 0; }
  void Add(float value) {
    values_[count_] = value;
    count_ += std::isfinite(value) ? 1 : 0;
  }
  [[nodiscard]] std::span<const float> Values() const { return {values_.data(), count_}; }

 private:
  std::vector<float> values_;
  std::size_t count_ = 0;
};

}  // namespace

std::vector<double> CommonProfile(const cv::Mat& values, const std::vector<double>& weights) {
  std::vector<double> profile(static_cast<size_t>(values.cols), 0.0);
  std::vector<std::size_t> trusted;
  for (std::size_t ray = 0; ray < weights.size(); ++ray) {
    if (weights[ray] > 0.0) trusted.push_back(ray);
  }
  const auto rays = static_cast<std::size_t>(values.rows);
  Known known(rays + 1);
  cv::Mat columns;
  cv::transpose(values, columns);
  for (int column = 0; column < values.cols; ++column) {
    const auto* line = columns.ptr<float>(column);
    double& common = profile[static_cast<size_t>(column)];
    known.Clear();
    for (const std::size_t ray : trusted) known.Add(line[ray]);
    if (!known.Values().empty()) {
      common = MiddleMean(known.Values());
      continue;
    }
    for (std::size_t ray = 0; ray < rays; ++ray) known.Add(line[ray]);
    if (known.Values().empty()) continue;
    common = static_cast<double>(OrderStatistics(known.Values()).At(known.Values().size() / 2));
  }
  return profile;
}

}  // namespace endgrade::locate
