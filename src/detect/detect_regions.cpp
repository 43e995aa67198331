#include "detect/line_search.h"
#include "detect/speck_search.h"
#include "endgrade/detect.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// A piece of a speck's kind that stays within the line's band and is hardly stronger than the line
// is part of the line: a scratch is not equally deep all along.
constexpr double kPartOfLine = 1.3;

std::string OutOfRange(const char* name, double value, const char* range) {
  return std::string("DetectOptions.") + name + " = " + std::to_string(value) +
         ": must be within " + range;
}

// How much of a region lies in the band of a line, and of which.
std::pair<int, double> BandShare(const Region& region, const cv::Mat& bands) {
  std::vector<int> held;
  for (const cv::Point& cell : region.cells) {
    if (const int band = bands.at<int>(cell)) held.push_back(band);
  }
  if (held.empty()) return {0, 0.0};
  std::sort(held.begin(), held.end());
  int most = 0;
  size_t most_count = 0;
  for (size_t i = 0; i < held.size();) {
    const auto next = std::upper_bound(held.begin(), held.end(), held[i]);
    const auto count = static_cast<size_t>(next - held.begin()) - i;
    if (count > most_count) {
      most_count = count;
      most = held[i];
    }
    i += count;
  }
  return {most, static_cast<double>(most_count) / static_cast<double>(region.cells.size())};
}

bool IsPartOfLine(const Region& region, const LinesFound& lines) {
  const auto [band, share] = BandShare(region, lines.bands);
  if (band == 0 || share < 0.9) return false;
  const Region& line = lines.lines[static_cast<size_t>(band - 1)];
  return std::abs(region.depth) < kPartOfLine * std::abs(line.depth);
}

}  // namespace

std::optional<std::string> DetectOptions::Problem() const {
  if (!(threshold_sigma >= 3 && threshold_sigma <= 20)) {
    return OutOfRange("threshold_sigma", threshold_sigma, "[3, 20]");
  }
  if (!(line_threshold_sigma >= 3 && line_threshold_sigma <= 20)) {
    return OutOfRange("line_threshold_sigma", line_threshold_sigma, "[3, 20]");
  }
  if (!(largest_scale_um >= 2 && largest_scale_um <= 60)) {
    return OutOfRange("largest_scale_um", largest_scale_um, "[2, 60]");
  }
  return std::nullopt;
}

Detection DetectRegions(const ContrastMap& contrast, const DetectOptions& options) {
  Detection detection;
  if (contrast.level.empty()) return detection;
  cv::Mat residual = contrast.residual.clone();
  const LinesFound lines = SearchLines(contrast, options, &residual);
  std::vector<Region> specks = SearchSpecks(contrast, options, &residual, &detection.scales);
  std::erase_if(specks, [&](const Region& region) { return IsPartOfLine(region, lines); });
  detection.regions = lines.lines;
  for (Region& region : MergeSpecks(contrast, std::move(specks))) {
    detection.regions.push_back(std::move(region));
  }
  return detection;
}

}  // namespace endgrade
