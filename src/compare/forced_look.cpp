#include "compare/forced_look.h"

#include "compare/clean_residual.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::compare {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kFinest_um = 0.3;
constexpr int kMostSide = 400;  // of the raster a feature is sampled on
constexpr std::size_t kMostSamples = 2500;
constexpr double kSurround_um = 2.0;   // width of the ring that tells the ground
constexpr double kLeastBlur_um = 0.5;  // registration is not better than this
constexpr int kTurns = 40;
constexpr double kMostHidden = 0.6;  // of a scratch, by other things
constexpr int kLeastPlaces = 8;

double BlurOf(const Attempt& attempt) {
  const ContrastMap& map = attempt.workings.contrast;
  return map.blur_sigma_cells * map.um_per_cell;
}

SoftPicture Soften(const Attempt& attempt, double blur_um) {
  const ContrastMap& map = attempt.workings.contrast;
  SoftPicture soft;
  soft.attempt = &attempt;
  cv::divide(map.residual, cv::max(map.background, 1.0), soft.contrast);
  const double own = BlurOf(attempt);
  const double extra = std::sqrt(std::max(0.0, blur_um * blur_um - own * own)) / map.um_per_cell;
  if (extra > 0.3) cv::GaussianBlur(soft.contrast, soft.contrast, {}, extra);
  soft.found = FoundMask(attempt, 1.0);
  return soft;
}

// One sample of a feature's look, from its centre.
struct Sample {
  cv::Point2d um;
  double value = 0;  // contrast over the surroundings, where the feature was found
};

struct Samples {
  std::vector<Sample> own;
  std::vector<cv::Point2d> around;
  double own_area_um2 = 0;  // that each of its own stands for
};

// Every n-th, so that no more than kMostSamples are left. n is odd, or every second column of a
// raster could be all that stays.
template <typename T>
std::size_t Thin(std::vector<T>* samples) {
  const std::size_t every = (samples->size() / kMostSamples) | 1;
  std::size_t kept = 0;
  for (std::size_t i = 0; i < samples->size(); i += every) (*samples)[kept++] = (*samples)[i];
  samples->resize(kept);
  return every;
}

float At(const SoftPicture& soft, cv::Point2d um, bool* in_view) {
  const ContrastMap& map = soft.attempt->workings.contrast;
  const cv::Vec2d d = map.um_from_cell.inv() * cv::Vec2d(um.x, um.y);
  const double x = map.centre_cell.x + d[0];
  const double y = map.centre_cell.y + d[1];
  const int x0 = static_cast<int>(std::floor(x));
  const int y0 = static_cast<int>(std::floor(y));
  *in_view = x0 >= 0 && y0 >= 0 && x0 + 1 < soft.contrast.cols && y0 + 1 < soft.contrast.rows &&
             (map.valid.empty() || map.valid.at<std::uint8_t>(y0, x0) != 0);
  if (!*in_view) return 0;
  const auto fx = static_cast<float>(x - x0);
  const auto fy = static_cast<float>(y - y0);
  const float* top = soft.contrast.ptr<float>(y0) + x0;
  const float* low = soft.contrast.ptr<float>(y0 + 1) + x0;
  return (top[0] * (1 - fx) + top[1] * fx) * (1 - fy) + (low[0] * (1 - fx) + low[1] * fx) * fy;
}

bool IsFound(const SoftPicture& soft, cv::Point2d um) {
  const ContrastMap& map = soft.attempt->workings.contrast;
  const cv::Vec2d d = map.um_from_cell.inv() * cv::Vec2d(um.x, um.y);
  const int x = cvRound(map.centre_cell.x + d[0]);
  const int y = cvRound(map.centre_cell.y + d[1]);
  return x >= 0 && y >= 0 && x < soft.found.cols && y < soft.found.rows &&
         soft.found.at<std::uint8_t>(y, x) != 0;
}

// The feature's pixels and the ring around them on a raster of its own.
Samples Take(const std::vector<cv::Point2d>& outline_um, double margin_um) {
  cv::Rect2d box(outline_um.front(), outline_um.front());
  double x1 = box.x;
  double y1 = box.y;
  for (const cv::Point2d& p : outline_um) {
    box.x = std::min(box.x, p.x);
    box.y = std::min(box.y, p.y);
    x1 = std::max(x1, p.x);
    y1 = std::max(y1, p.y);
  }
  const double reach = margin_um + kSurround_um + 1.0;
  const double step =
      std::max(kFinest_um, (std::max(x1 - box.x, y1 - box.y) + 2 * reach) / kMostSide);
  const cv::Size size(static_cast<int>((x1 - box.x + 2 * reach) / step) + 1,
                      static_cast<int>((y1 - box.y + 2 * reach) / step) + 1);
  cv::Mat outside(size, CV_8UC1, cv::Scalar(255));
  constexpr int kShift = 4;
  std::vector<cv::Point> polygon;
  for (const cv::Point2d& p : outline_um) {
    polygon.emplace_back(cvRound((p.x - box.x + reach) / step * (1 << kShift)),
                         cvRound((p.y - box.y + reach) / step * (1 << kShift)));
  }
  cv::fillPoly(
      outside, std::vector<std::vector<cv::Point>>{polygon}, cv::Scalar(0), cv::LINE_8, kShift);
  cv::Mat distance;
  cv::distanceTransform(outside, distance, cv::DIST_L2, cv::DIST_MASK_PRECISE);
  Samples samples;
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double away = distance.at<float>(y, x) * step;
      const cv::Point2d um(box.x - reach + x * step, box.y - reach + y * step);
      if (away <= margin_um) {
        samples.own.push_back({um, 0});
      } else if (away > margin_um + 0.5 && away <= margin_um + 0.5 + kSurround_um) {
        samples.around.push_back(um);
      }
    }
  }
  samples.own_area_um2 = step * step * static_cast<double>(Thin(&samples.own));
  Thin(&samples.around);
  return samples;
}

double Median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

struct Fit {
  double share = 0;
  double share_beside = 0;  // against what surrounds the place, found or not
  double in_view = 0;
  double found = 0;
};

// Least squares of the samples' look against the picture at `place`.
Fit FitAt(const Samples& samples, const SoftPicture& asked, const Place& place) {
  Fit fit;
  bool seen = false;
  std::vector<double> ground;
  std::vector<double> beside;
  for (const cv::Point2d& p : samples.around) {
    const cv::Point2d um = place(p);
    const float value = At(asked, um, &seen);
    if (!seen) continue;
    beside.push_back(value);
    if (!IsFound(asked, um)) ground.push_back(value);
  }
  // Where all around is found too, the flattened ground is what it should be: 0.
  const double base = ground.size() * 4 >= samples.around.size() ? Median(ground) : 0.0;
  double product = 0;
  double square = 0;
  double sum = 0;
  for (const Sample& sample : samples.own) {
    const cv::Point2d um = place(sample.um);
    const float value = At(asked, um, &seen);
    if (!seen) continue;
    fit.in_view += 1;
    if (IsFound(asked, um)) fit.found += 1;
    product += sample.value * (value - base);
    square += sample.value * sample.value;
    sum += sample.value;
  }
  if (fit.in_view > 0) fit.found /= fit.in_view;
  fit.in_view /= static_cast<double>(samples.own.size());
  if (!(square > 0)) return fit;
  fit.share = product / square;
  fit.share_beside = fit.share - (Median(std::move(beside)) - base) * sum / square;
  return fit;
}

cv::Point2d Turned(cv::Point2d p, double angle) {
  return {std::cos(angle) * p.x - std::sin(angle) * p.y,
          std::sin(angle) * p.x + std::cos(angle) * p.y};
}

struct Noise {
  double share = 0;   // of a look where there is nothing
  double change = 0;  // of the difference between two looks at one place
};

// Spread about zero, not about their mean: what lies everywhere is no noise of one place.
double Spread(std::vector<double> values) {
  for (double& value : values) value = std::abs(value);
  return 1.4826 * Median(std::move(values));
}

// The same fit at other places as far from the centre; near it, beside it. What the face shows in
// both pictures, a ferrule's grain above all, is noise of a look and none of a change.
Noise NoiseOf(const Samples& samples,
              const SoftPicture& shown,
              const SoftPicture& asked,
              const Place& place,
              double radius_um,
              double size_um) {
  std::vector<double> shares;
  std::vector<double> changes;
  const bool central = radius_um < size_um;
  for (int i = 0; i < kTurns; ++i) {
    const double angle = 2 * kPi * (i + 0.5) / kTurns;
    const double away = central ? size_um * (1.5 + 0.5 * (i % 3)) + 3 : 0;
    const cv::Point2d shift(away * std::cos(angle), away * std::sin(angle));
    const auto there = [&](cv::Point2d p) { return central ? p + shift : Turned(p, angle); };
    const Fit fit = FitAt(samples, asked, [&](cv::Point2d p) { return place(there(p)); });
    if (fit.in_view <= 0.9 || fit.found >= 0.1) continue;
    shares.push_back(fit.share);
    const Fit own = FitAt(samples, shown, there);
    if (own.in_view > 0.9 && own.found < 0.1) changes.push_back(fit.share - own.share);
  }
  if (shares.size() < kLeastPlaces) return {};
  const double spread = Spread(std::move(shares));
  return {spread, changes.size() < kLeastPlaces ? spread : Spread(std::move(changes))};
}

// White noise of the picture's own, where there are too few places to try.
double NoiseByPixels(const Samples& samples, const SoftPicture& asked, double radius_um) {
  const ContrastMap& map = asked.attempt->workings.contrast;
  const std::size_t ring = map.RingOf(static_cast<float>(radius_um));
  const double noise = map.ring_noise[ring] / std::max(1.0, map.ring_level[ring]);
  double square = 0;
  for (const Sample& sample : samples.own) square += sample.value * sample.value;
  if (!(square > 0)) return 0;
  // Samples closer than a cell and the blur say the same thing.
  const double independent_um = std::max(map.um_per_cell, 2 * BlurOf(*asked.attempt));
  const double apart_um = std::sqrt(samples.own_area_um2);
  return noise * std::max(1.0, independent_um / apart_um) / std::sqrt(square);
}

}  // namespace

SoftPair SoftenBoth(const Attempt& before, const Attempt& after) {
  const double blur = std::max({BlurOf(before), BlurOf(after), kLeastBlur_um});
  return {Soften(before, blur), Soften(after, blur)};
}

std::optional<Look> LookFor(const Feature& feature,
                            const SoftPicture& shown,
                            const SoftPicture& asked,
                            const Place& to_asked) {
  if (feature.outline_px.size() < 3) return std::nullopt;
  const Scale& scale = shown.attempt->grade.fibres.front().scale;
  std::vector<cv::Point2d> outline;
  for (const cv::Point2d& p : feature.outline_px) outline.push_back(scale.ToUm(p));
  const double margin =
      std::max(0.4, 0.7 * std::max(BlurOf(*shown.attempt), BlurOf(*asked.attempt)));
  Samples samples = Take(outline, margin);
  if (samples.own.empty() || samples.around.empty()) return std::nullopt;
  bool seen = false;
  std::vector<double> ground;
  for (const cv::Point2d& p : samples.around) {
    const float value = At(shown, p, &seen);
    if (seen) ground.push_back(value);
  }
  const double base = Median(ground);
  Look look;
  double square = 0;
  double sum = 0;
  for (Sample& sample : samples.own) {
    const float value = At(shown, sample.um, &seen);
    sample.value = seen ? value - base : 0;
    square += sample.value * sample.value;
    sum += sample.value;
  }
  look.contrast = std::copysign(std::sqrt(square / static_cast<double>(samples.own.size())), sum);
  Fit fit = FitAt(samples, asked, to_asked);
  // A scratch runs past and under other things, and is the same all along: where something was
  // found there, it is not looked for, as long as enough of it lies in the open.
  if (feature.kind == FeatureKind::kScratch && fit.found > 0 && fit.found <= kMostHidden) {
    std::erase_if(samples.own,
                  [&](const Sample& sample) { return IsFound(asked, to_asked(sample.um)); });
    fit = FitAt(samples, asked, to_asked);
  }
  look.share = fit.share;
  look.in_view = fit.in_view;
  look.found_fraction = fit.found;
  const cv::Point2d centre = to_asked(feature.centre_um);
  const double radius = std::hypot(centre.x, centre.y);
  look.share_beside = fit.share_beside;
  const Noise noise = NoiseOf(
      samples, shown, asked, to_asked, radius, std::max(2.0, feature.diameter_enclosing_um));
  look.share_noise = noise.share > 0 ? noise.share : NoiseByPixels(samples, asked, radius);
  look.change_noise = noise.share > 0 ? noise.change : look.share_noise;
  return look;
}

}  // namespace endgrade::compare
