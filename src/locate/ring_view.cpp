#include "locate/ring_view.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

// Columns of a map from 0.74 to 1.38 of the radius, a hundredth each: an adhesive ring or a
// droplet's own rim lies between the two parts that are compared.
constexpr double kFrom = 0.74;
constexpr double kTo = 1.38;
constexpr int kColumns = 65;
struct Columns {
  int start, end;
};
constexpr Columns kInside{0, 13};
constexpr Columns kNearRim{16, 20};  // 0.90 to 0.93
constexpr Columns kOutside{47, 65};

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

// A parabola through both parts, with a step between them: uneven light bends the profile, half a
// rim out of the picture tilts it, and neither is a step.
void MeasureStep(const std::vector<float>& profile, RingView* view) {
  std::vector<int> columns;
  for (int i = kInside.start; i < kInside.end; ++i) columns.push_back(i);
  for (int i = kOutside.start; i < kOutside.end; ++i) columns.push_back(i);
  const auto basis = [](int column) {
    const double x = (column - 30) / 30.0;
    return cv::Vec4d(1.0, x, x * x, column >= kOutside.start ? 1.0 : 0.0);
  };
  cv::Vec4d fit = cv::Vec4d::all(0);
  // Rounds that leave out what is far off: another circle may cross.
  double limit = 1e9;
  for (int round = 0; round < 4; ++round) {
    cv::Matx44d normal = cv::Matx44d::eye() * 1e-6;
    cv::Vec4d right = cv::Vec4d::all(0);
    std::vector<float> misses;
    double rss = 0.0;
    int count = 0;
    for (const int i : columns) {
      const auto value = static_cast<double>(profile[static_cast<size_t>(i)]);
      const double miss = value - fit.dot(basis(i));
      misses.push_back(static_cast<float>(std::abs(miss)));
      if (std::abs(miss) > limit) continue;
      normal += basis(i) * basis(i).t();
      right += basis(i) * value;
      rss += miss * miss;
      ++count;
    }
    if (count < 8) return;
    const cv::Matx44d inverse = normal.inv(cv::DECOMP_SVD);
    if (round > 0) {
      // Neighbouring columns share pixels: a third of them counts.
      view->step = fit[3];
      view->step_noise = std::sqrt(inverse(3, 3) * 3.0 * std::max(0.04, rss / (count - 4.0)));
    }
    fit = inverse * right;
    limit = round == 0 ? 1e9 : std::max(0.5, 4.0 * static_cast<double>(Median(misses)));
  }
}

}  // namespace

RingView LookAtRing(const Level& level, const Ring& ring) {
  PolarGrid grid;
  grid.rays = 72;
  grid.from = kFrom;
  grid.to = kTo;
  grid.columns = kColumns;
  const cv::Mat values = SampleRays(level, level.FrameOf(ring.frame), grid).values;
  const std::vector<float> profile = MedianProfile(values);
  RingView view;
  view.inside = Mean(profile.data(), kInside);
  view.outside = Mean(profile.data(), kOutside);
  view.inside_texture = Texture(values, profile, kInside);
  view.outside_texture = Texture(values, profile, kOutside);
  MeasureStep(profile, &view);
  view.inside_fall = Mean(profile.data(), kInside) - Mean(profile.data(), kNearRim);
  const double low = std::min(view.inside, view.outside);
  const double high = std::max(view.inside, view.outside);
  for (int i = kInside.end; i < kOutside.start; ++i) {
    const auto value = static_cast<double>(profile[static_cast<size_t>(i)]);
    view.peak = std::max({view.peak, value - high, low - value});
  }
  return view;
}

}  // namespace endgrade::locate
