#include "measure/speck_blur.h"

#include "detect/median.h"
#include "detect/sample.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kLeastSnr = 25.0;
constexpr double kLeastContrast = 0.08;  // of the light that is there
constexpr double kLargestUm = 12.0;      // larger ones are seldom simple
constexpr double kStep = 0.5;            // cells
constexpr int kDirections = 24;
constexpr double kResolved = 1.6;  // width at half height over height per slope
constexpr double kHeightPerSlope = 2.5;
constexpr double kLeastShare = 0.5;  // of the directions
constexpr std::size_t kLeastSpecks = 3;
constexpr double kSlopeOver = 2.0;  // steps that a slope is read over: single cells are noisy

// Outwards from the middle: the steepest fall, and where half of the height is reached.
struct Flank {
  double slope = 0;  // luma units a cell
  double half_at = 0;
};

std::optional<Flank> FlankOf(
    const ContrastMap& map, cv::Point2d middle, cv::Point2d out, double height, double reach) {
  Flank flank;
  std::vector<double> values;
  for (double at = 0; at <= reach; at += kStep) {
    values.push_back(SampleAt(map.residual, middle + at * out) / height);
  }
  const auto over = static_cast<std::size_t>(kSlopeOver);
  for (std::size_t i = over; i < values.size(); ++i) {
    const double fall = (values[i - over] - values[i]) / (kSlopeOver * kStep);
    flank.slope = std::max(flank.slope, fall * std::abs(height));
    if (flank.half_at == 0 && values[i] < 0.5) flank.half_at = static_cast<double>(i) * kStep;
  }
  if (flank.half_at == 0 || flank.slope <= 0) return std::nullopt;
  return flank;
}

std::optional<double> BlurBySpeck(const ContrastMap& map, const Region& region) {
  const cv::Rect box = cv::boundingRect(region.cells);
  cv::Point2d middle(0, 0);
  for (const cv::Point& cell : region.cells) middle += cv::Point2d(cell);
  middle *= 1.0 / static_cast<double>(region.cells.size());
  const double height = SampleAt(map.residual, middle);
  if (height * region.depth <= 0 || std::abs(height) < 0.5 * std::abs(region.depth)) {
    return std::nullopt;
  }
  const double reach = std::max(box.width, box.height) + 3.0;
  std::vector<double> sigmas;
  for (int d = 0; d < kDirections; ++d) {
    const double turn = 2.0 * CV_PI * d / kDirections;
    const auto flank = FlankOf(map, middle, {std::cos(turn), std::sin(turn)}, height, reach);
    if (!flank) continue;
    const double run = std::abs(height) / flank->slope;
    if (2.0 * flank->half_at > kResolved * run) sigmas.push_back(run / kHeightPerSlope);
  }
  if (static_cast<double>(sigmas.size()) < kLeastShare * kDirections) return std::nullopt;
  return MedianIn(std::move(sigmas));
}

}  // namespace

std::optional<double> BlurBySpecks(const ContrastMap& map, const std::vector<Region>& regions) {
  std::vector<double> sigmas;
  for (const Region& region : regions) {
    if (region.is_line || region.cells.empty() || region.snr < kLeastSnr) continue;
    const cv::Rect box = cv::boundingRect(region.cells);
    if (std::max(box.width, box.height) * map.um_per_cell > kLargestUm) continue;
    const float light = map.background.at<float>(cv::Point(region.peak));
    if (std::abs(region.depth) < kLeastContrast * static_cast<double>(light)) continue;
    if (const auto sigma = BlurBySpeck(map, region)) sigmas.push_back(*sigma);
  }
  if (sigmas.size() < kLeastSpecks) return std::nullopt;
  return MedianIn(std::move(sigmas));
}

}  // namespace endgrade
