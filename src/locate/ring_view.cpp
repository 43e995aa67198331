#include "locate/ring_view.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

// Columns of a map from 0.78 to 1.22 of the radius, a hundredth each.
constexpr int kColumns = 45;
struct Columns {
  int start, end;
};
constexpr Columns kInside{2, 13};
constexpr Columns kOutside{32, 43};

std::vector<float> MedianProfile(const cv::Mat& values) {
  std::vector<float> profile;
  std::vector<float> sample;
  for (int column = 0; column < values.cols; ++column) {
    sample.clear();
    for (int ray = 0; ray < values.rows; ++ray) {
      const float value = values.at<float>(ray, column);
      if (std::isfinite(value)) sample.push_back(value);
    }
    profile.push_back(Median(sample));
  }
  return profile;
}

double Mean(const float* values, Columns columns) {
  double sum = 0.0;
  for (int i = columns.start; i < columns.end; ++i) sum += static_cast<double>(values[i]);
  return sum / (columns.end - columns.start);
}

// Spread about the profile and each ray's own mean: grain, not uneven light.
double Texture(const cv::Mat& values, const std::vector<float>& profile, Columns columns) {
  cv::Mat part = values.colRange(columns.start, columns.end).clone();
  const double profile_mean = Mean(profile.data(), columns);
  for (int ray = 0; ray < part.rows; ++ray) {
    const double own = Mean(values.ptr<float>(ray), columns) - profile_mean;
    for (int i = 0; i < part.cols; ++i) {
      part.at<float>(ray, i) -=
          profile[static_cast<size_t>(columns.start + i)] + static_cast<float>(own);
    }
  }
  return RobustSpread(part);
}

double StepShare(const cv::Mat& values) {
  int up = 0;
  int all = 0;
  for (int ray = 0; ray < values.rows; ++ray) {
    const auto* row = values.ptr<float>(ray);
    const double step = Mean(row, kOutside) - Mean(row, kInside);
    if (!std::isfinite(step)) continue;
    ++all;
    if (step > 0) ++up;
  }
  return all == 0 ? 0.5 : static_cast<double>(std::max(up, all - up)) / all;
}

}  // namespace

RingView LookAtRing(const Level& level, const Ring& ring) {
  PolarGrid grid;
  grid.rays = 72;
  grid.from = 0.78;
  grid.to = 1.22;
  grid.columns = kColumns;
  const cv::Mat values = SampleRays(level, level.FrameOf(ring.frame), grid).values;
  const std::vector<float> profile = MedianProfile(values);
  RingView view;
  view.inside = Mean(profile.data(), kInside);
  view.outside = Mean(profile.data(), kOutside);
  view.inside_texture = Texture(values, profile, kInside);
  view.outside_texture = Texture(values, profile, kOutside);
  view.step_share = StepShare(values);
  const double low = std::min(view.inside, view.outside);
  const double high = std::max(view.inside, view.outside);
  for (int i = kInside.end; i < kOutside.start; ++i) {
    const auto value = static_cast<double>(profile[static_cast<size_t>(i)]);
    view.peak = std::max({view.peak, value - high, low - value});
  }
  return view;
}

}  // namespace endgrade::locate
