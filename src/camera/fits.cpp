#include "camera/fits.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <cmath>
#include <map>

namespace endgrade::camera {
namespace {

constexpr double kOutOfRound = 0.01;
constexpr double kLeastFitRelative = 1e-5;  // no fit is believed to be better
constexpr int kFlatPasses = 4;
constexpr double kFlatOutlier = 3.0;      // robust sigmas
constexpr std::size_t kLeastLight = 200;  // places
constexpr std::size_t kLeastBlocks = 40;
constexpr double kLeastLevelSpan = 1.15;  // brightest over darkest tenth, to tell a slope
constexpr int kLevelBins = 12;

double Median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double StandardDeviation(const std::vector<double>& values) {
  if (values.size() < 2) return 0.0;
  double mean = 0;
  for (const double v : values) mean += v;
  mean /= static_cast<double>(values.size());
  double square = 0;
  for (const double v : values) square += (v - mean) * (v - mean);
  return std::sqrt(square / static_cast<double>(values.size() - 1));
}

}  // namespace

Uncertain MeanScale(const std::vector<CameraSample>& samples, double* scatter) {
  double sum = 0;
  double weights = 0;
  double tolerance = 0;
  std::vector<double> values;
  for (const CameraSample& sample : samples) {
    const double u = sample.um_per_px * std::max(kLeastFitRelative, sample.fit_relative);
    sum += sample.um_per_px / (u * u);
    weights += 1 / (u * u);
    tolerance = std::max(tolerance, sample.tolerance_relative);
    values.push_back(sample.um_per_px);
  }
  const double mean = sum / weights;
  double spread = 0;
  for (const CameraSample& sample : samples) {
    const double u = sample.um_per_px * std::max(kLeastFitRelative, sample.fit_relative);
    spread += std::pow((sample.um_per_px - mean) / u, 2);
  }
  const double freedom = std::max(1.0, static_cast<double>(samples.size()) - 1.0);
  const double birge = std::max(1.0, std::sqrt(spread / freedom));
  const double u = std::hypot(birge / std::sqrt(weights), tolerance * mean);
  *scatter = StandardDeviation(values);
  return {mean, 2 * u};
}

Uncertain MeanAspect(const std::vector<CameraSample>& samples) {
  std::vector<double> values;
  double mean = 0;
  for (const CameraSample& sample : samples) {
    values.push_back(sample.pixel_aspect);
    mean += sample.pixel_aspect / static_cast<double>(samples.size());
  }
  const double u_mean = StandardDeviation(values) / std::sqrt(static_cast<double>(values.size()));
  return {mean, 2 * std::hypot(u_mean, kOutOfRound / std::sqrt(3.0))};
}

Uncertain MiddleBlur(const std::vector<CameraSample>& samples) {
  std::vector<double> values;
  for (const CameraSample& sample : samples) {
    values.push_back(sample.blur_sigma_px * sample.um_per_px);
  }
  return {Median(values), 2 * StandardDeviation(values)};
}

std::array<double, 6> FlatTerms(cv::Point2d p_px, cv::Size picture) {
  const double half = 0.5 * std::max(picture.width, picture.height);
  const double x = (p_px.x - 0.5 * (picture.width - 1)) / half;
  const double y = (p_px.y - 0.5 * (picture.height - 1)) / half;
  const double r2 = x * x + y * y;
  return {x, y, x * x - y * y, x * y, r2, r2 * r2};
}

std::optional<FlatField> FitFlat(const std::vector<CameraSample>& samples, int positions) {
  // Every ring of every picture has a brightness of its own, which is none of the camera's: only
  // what varies along the ring counts.
  const int terms = positions >= 3 ? 6 : 4;
  struct Row {
    std::array<double, 6> t;
    double value;
    std::size_t group;
    bool used = true;
  };
  std::vector<Row> rows;
  std::size_t groups = 0;
  for (const CameraSample& sample : samples) {
    std::map<int, std::size_t> own;
    for (const CameraSample::Light& light : sample.light) {
      const auto [entry, is_new] = own.try_emplace(light.ring, groups);
      if (is_new) ++groups;
      rows.push_back(
          {FlatTerms(light.p_px, sample.picture_px), light.log_level, entry->second, true});
    }
  }
  if (rows.size() < kLeastLight) return std::nullopt;
  FlatField flat;
  for (int pass = 0; pass < kFlatPasses; ++pass) {
    std::vector<std::array<double, 8>> means(groups);  // six terms, value, count
    for (const Row& row : rows) {
      if (!row.used) continue;
      auto& mean = means[row.group];
      for (std::size_t c = 0; c < 6; ++c) mean[c] += row.t[c];
      mean[6] += row.value;
      mean[7] += 1;
    }
    cv::Mat normal = cv::Mat::zeros(terms, terms, CV_64F);
    cv::Mat right = cv::Mat::zeros(terms, 1, CV_64F);
    const auto centred = [&](const Row& row, std::size_t c) {
      const auto& mean = means[row.group];
      return (c < 6 ? row.t[c] : row.value) - mean[c] / std::max(1.0, mean[7]);
    };
    for (const Row& row : rows) {
      if (!row.used) continue;
      for (int a = 0; a < terms; ++a) {
        const double ta = centred(row, static_cast<std::size_t>(a));
        right.at<double>(a) += ta * centred(row, 6);
        for (int b = 0; b < terms; ++b) {
          normal.at<double>(a, b) += ta * centred(row, static_cast<std::size_t>(b));
        }
      }
    }
    // What the pictures hardly tell stays near nothing.
    const double tame = 1e-5 * static_cast<double>(rows.size());
    for (int a = 0; a < terms; ++a) normal.at<double>(a, a) += tame;
    cv::Mat solved;
    if (!cv::solve(normal, right, solved, cv::DECOMP_CHOLESKY)) return std::nullopt;
    for (int a = 0; a < terms; ++a)
      flat.coefficients[static_cast<std::size_t>(a)] = solved.at<double>(a);
    std::vector<double> residuals(rows.size());
    std::vector<double> sizes;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      residuals[i] = centred(rows[i], 6);
      for (int a = 0; a < terms; ++a) {
        residuals[i] -= flat.coefficients[static_cast<std::size_t>(a)] *
                        centred(rows[i], static_cast<std::size_t>(a));
      }
      sizes.push_back(std::abs(residuals[i]));
    }
    const double sigma = 1.4826 * Median(sizes);
    for (std::size_t i = 0; i < rows.size(); ++i) {
      rows[i].used = std::abs(residuals[i]) <= kFlatOutlier * sigma + 1e-9;
    }
  }
  return flat;
}

std::optional<NoiseLaw> FitNoise(const std::vector<CameraSample>& samples) {
  std::vector<CameraSample::Block> blocks;
  for (const CameraSample& sample : samples) {
    blocks.insert(blocks.end(), sample.blocks.begin(), sample.blocks.end());
  }
  if (blocks.size() < kLeastBlocks) return std::nullopt;
  std::stable_sort(
      blocks.begin(), blocks.end(), [](const auto& a, const auto& b) { return a.level < b.level; });
  // The median of a bin: specks and grain raise a few blocks, not most. Of a block of n independent
  // places the median is low by a share of 2 / (3 n) (Wilson and Hilferty), a third of a per cent.
  std::vector<cv::Point2d> bins;
  const std::size_t size = std::max<std::size_t>(8, blocks.size() / kLevelBins);
  for (std::size_t from = 0; from + size <= blocks.size(); from += size) {
    std::vector<double> levels;
    std::vector<double> variances;
    for (std::size_t i = from; i < from + size; ++i) {
      levels.push_back(blocks[i].level);
      variances.push_back(blocks[i].variance);
    }
    bins.emplace_back(Median(levels), Median(variances));
  }
  NoiseLaw law;
  double mean_x = 0;
  double mean_y = 0;
  for (const cv::Point2d& bin : bins) {
    mean_x += bin.x / static_cast<double>(bins.size());
    mean_y += bin.y / static_cast<double>(bins.size());
  }
  double xx = 0;
  double xy = 0;
  for (const cv::Point2d& bin : bins) {
    xx += (bin.x - mean_x) * (bin.x - mean_x);
    xy += (bin.x - mean_x) * (bin.y - mean_y);
  }
  law.slope_known = bins.size() >= 3 && bins.back().x > kLeastLevelSpan * bins.front().x;
  law.slope = law.slope_known ? std::max(0.0, xy / xx) : 0.0;
  law.offset = mean_y - law.slope * mean_x;
  return law;
}

std::vector<int> Positions(const std::vector<CameraSample>& samples, double apart_px) {
  std::vector<cv::Point2d> places;
  std::vector<int> positions;
  for (const CameraSample& sample : samples) {
    int nearest = -1;
    for (std::size_t i = 0; i < places.size() && nearest < 0; ++i) {
      const cv::Point2d away = sample.centre_px - places[i];
      if (std::hypot(away.x, away.y) < apart_px) nearest = static_cast<int>(i);
    }
    if (nearest < 0) {
      nearest = static_cast<int>(places.size());
      places.push_back(sample.centre_px);
    }
    positions.push_back(nearest);
  }
  return positions;
}

}  // namespace endgrade::camera
