#include "detect/region_growing.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

// Surroundings below this share of the peak count as the clean face.
constexpr float kClearShare = 0.08F;
// Least share of the band's response that the smoothed map itself must show.
constexpr float kRealShare = 0.5F;
// A bright speck on a dark film, or the reverse, is not followed further than this many sigma: past
// the film's edge the clean face looks like the speck.
constexpr double kReachOnFilm = 4.0;

// Height of the border over the peak's. One half is where a sharp-edged disc ends; marks that thin
// out towards their edge come out 0.2 to 0.4 um small, which their uncertainty allows for. A lower
// border lets faint regions run together: at 0.45, 8 of 192 tuning verdicts were lost.
constexpr float kBorderShare = 0.5F;

// A region's border must stand this many sigma of the smoothed map's noise above the background.
constexpr float kLeastBorderSigma = 2.0F;

struct Heights {
  float sign;
  float base;       // background beside the peak
  float threshold;  // on sign * (smooth - base)
  float depth;      // peak over base, positive
  bool real;        // the smoothed map itself stands out, not just the band
};

constexpr size_t kAround = 16;

const std::array<cv::Point2d, kAround>& Around() {
  static const auto directions = [] {
    std::array<cv::Point2d, kAround> around;
    for (size_t i = 0; i < kAround; ++i) {
      const double turn = static_cast<double>(i) * CV_PI / 8.0;
      around[i] = {std::cos(turn), std::sin(turn)};
    }
    return around;
  }();
  return directions;
}

// Median of the smoothed map on a circle around the peak.
float CircleLevel(const Response& response, cv::Point peak, double reach) {
  std::array<float, kAround> values{};
  size_t count = 0;
  for (const cv::Point2d& direction : Around()) {
    const int x = peak.x + static_cast<int>(std::lround(reach * direction.x));
    const int y = peak.y + static_cast<int>(std::lround(reach * direction.y));
    if (x < 0 || y < 0 || x >= response.smooth.cols || y >= response.smooth.rows) continue;
    values[count++] = response.smooth.at<float>(y, x);
  }
  if (count == 0) return 0.0F;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(values.begin(), middle, values.begin() + static_cast<std::ptrdiff_t>(count));
  return *middle;
}

// The surroundings of the feature that peaks here: the circle, of several, that is least like it.
// The nearest is clear of a blob that this scale is matched to; wider ones of a larger feature.
float SurroundingLevel(const Response& response, cv::Point peak) {
  const float top = response.smooth.at<float>(peak);
  double reach = 3.2 * response.sigma_cells / response.reduction + 1.0;
  float level = CircleLevel(response, peak, reach);
  for (int i = 0; i < 4 && std::abs(level) > kClearShare * std::abs(top); ++i) {
    reach *= 1.6;
    const float wider = CircleLevel(response, peak, reach);
    if (std::abs(wider) < std::abs(level)) level = wider;
  }
  return level;
}

Heights HeightsAt(const Response& response, cv::Point peak) {
  const float band = response.band.at<float>(peak);
  const float top = response.smooth.at<float>(peak);
  Heights heights{};
  heights.sign = band < 0 ? -1.0F : 1.0F;
  heights.base = SurroundingLevel(response, peak);
  heights.depth = heights.sign * (top - heights.base);
  // A bump on a wide plateau is part of the plateau: measure it all from the clean face.
  if (heights.depth < 0.5F * heights.sign * top) {
    heights.base = 0.0F;
    heights.depth = heights.sign * top;
  }
  // Beside a strong feature the band swings to the other side although nothing is there.
  heights.real = heights.depth >= kRealShare * std::abs(band);
  const float noise = response.noise.At(response.radius_um.at<float>(peak));
  heights.threshold = std::min(0.7F * heights.depth,
                               std::max(kBorderShare * heights.depth, kLeastBorderSigma * noise));
  return heights;
}

// The point between an inner and an outer cell where the height crosses the threshold.
cv::Point2f Crossing(
    cv::Point inner, cv::Point outer, float inner_height, float outer_height, float threshold) {
  const float span = inner_height - outer_height;
  const float part = span > 0 ? std::clamp((inner_height - threshold) / span, 0.0F, 1.0F) : 0.5F;
  return {static_cast<float>(inner.x) + part * static_cast<float>(outer.x - inner.x),
          static_cast<float>(inner.y) + part * static_cast<float>(outer.y - inner.y)};
}

// A particle may be bright with a dark rim, or the reverse; the rim is part of it. The fringe that
// a camera's sharpening leaves is weaker than this share of the depth.
constexpr float kRimShare = 0.42F;
constexpr float kRimSigma = 5.0F;
constexpr int kRimGapCells = 2;          // between the inside's border and where the rim begins
constexpr double kRimReachUm = 4.0;      // how far from the inside a rim may reach
constexpr double kLeastRimShare = 0.35;  // of the border that must have a rim

// Cells of the other sign right around `grown`; empty when there is no rim.
std::vector<cv::Point> GrowRim(const ContrastMap& map,
                               const Response& response,
                               const Heights& heights,
                               const std::vector<cv::Point>& grown,
                               const cv::Mat& taken) {
  const double reach = kRimReachUm / map.um_per_cell / response.reduction;
  const cv::Rect whole(0, 0, response.smooth.cols, response.smooth.rows);
  const cv::Rect inside = cv::boundingRect(grown);
  const int margin = static_cast<int>(std::ceil(reach)) + 1;
  const cv::Rect box = cv::Rect(inside.x - margin,
                                inside.y - margin,
                                inside.width + 2 * margin,
                                inside.height + 2 * margin) &
                       whole;
  cv::Mat outside(box.size(), CV_8UC1, cv::Scalar(255));
  for (const cv::Point& cell : grown) outside.at<uchar>(cell - box.tl()) = 0;
  cv::Mat distance;  // to the nearest cell of the inside
  cv::distanceTransform(outside, distance, cv::DIST_L2, cv::DIST_MASK_3);
  std::vector<cv::Point> rim;
  int border = 0;
  int rimmed = 0;
  for (int y = 0; y < box.height; ++y) {
    const auto* distances = distance.ptr<float>(y);
    const auto* smooth = response.smooth.ptr<float>(y + box.y) + box.x;
    const auto* radius = response.radius_um.ptr<float>(y + box.y) + box.x;
    const auto* held = taken.ptr<uchar>(y + box.y) + box.x;
    for (int x = 0; x < box.width; ++x) {
      const float away = distances[x];
      if (away <= 0 || static_cast<double>(away) > reach) continue;
      const float height = -heights.sign * (smooth[x] - heights.base);
      const float noise = response.noise.At(radius[x]);
      const bool dark = height > std::max(kRimShare * heights.depth, kRimSigma * noise);
      const bool near = away < static_cast<float>(kRimGapCells) + 0.5F;
      border += near ? 1 : 0;
      rimmed += near && dark ? 1 : 0;
      if (dark && !held[x]) rim.push_back(cv::Point(x, y) + box.tl());
    }
  }
  // `near` is about two cells deep and a rim fills about one of them.
  if (2.0 * rimmed < kLeastRimShare * border) rim.clear();
  return rim;
}

}  // namespace

std::optional<Region> GrowRegion(const ContrastMap& map,
                                 const Response& response,
                                 cv::Point peak,
                                 cv::Mat* taken) {
  if (taken->at<uchar>(peak)) return std::nullopt;
  const Heights heights = HeightsAt(response, peak);
  if (!heights.real) return std::nullopt;
  const bool on_film = heights.sign * heights.base < -kClearShare * heights.depth;
  const double reach = kReachOnFilm * response.sigma_cells / response.reduction;
  const auto height_at = [&](cv::Point p) {
    return heights.sign * (response.smooth.at<float>(p) - heights.base);
  };
  // Onto a noisier material a region grows only where it stands clear of that noise too.
  const float own_noise = response.noise.At(response.radius_um.at<float>(peak));
  const auto clear_of_noise = [&](cv::Point p) {
    const float noise = response.noise.At(response.radius_um.at<float>(p));
    return noise > 1.3F * own_noise ? 3.0F * noise : 0.0F;
  };
  const cv::Rect whole(0, 0, response.smooth.cols, response.smooth.rows);
  Region region;
  std::vector<cv::Point> grown = {peak};
  taken->at<uchar>(peak) = 255;
  static const std::array<cv::Point, 4> kSides = {
      cv::Point(1, 0), cv::Point(-1, 0), cv::Point(0, 1), cv::Point(0, -1)};
  for (size_t next = 0; next < grown.size(); ++next) {
    const cv::Point cell = grown[next];
    for (const cv::Point& side : kSides) {
      const cv::Point beside = cell + side;
      if (!whole.contains(beside)) {
        region.edge.push_back(
            response.MapCell(cv::Point2d(cell.x + 0.5 * side.x, cell.y + 0.5 * side.y)));
        continue;
      }
      const float height = height_at(beside);
      const bool too_far = on_film && std::hypot(beside.x - peak.x, beside.y - peak.y) > reach;
      if (too_far || height < heights.threshold || height < clear_of_noise(beside)) {
        const cv::Point2f crossing =
            Crossing(cell, beside, height_at(cell), height, heights.threshold);
        region.edge.push_back(response.MapCell(crossing));
      } else if (!taken->at<uchar>(beside)) {
        taken->at<uchar>(beside) = 255;
        grown.push_back(beside);
      }
    }
  }
  const size_t body = grown.size();
  for (const cv::Point& cell : GrowRim(map, response, heights, grown, *taken)) {
    taken->at<uchar>(cell) = 255;
    grown.push_back(cell);
    region.edge.push_back(response.MapCell(cv::Point2d(cell)));
  }
  const int step = response.reduction;
  const cv::Rect map_whole(0, 0, map.level.cols, map.level.rows);
  for (size_t i = 0; i < grown.size(); ++i) {
    const cv::Point& cell = grown[i];
    for (int y = 0; y < step; ++y) {
      for (int x = 0; x < step; ++x) {
        const cv::Point p(cell.x * step + x, cell.y * step + y);
        if (!map_whole.contains(p)) continue;
        region.cells.push_back(p);
        if (i < body) ++region.body_cells;
      }
    }
  }
  region.rimmed = grown.size() > body;
  region.peak = response.MapCell(peak);
  region.depth = static_cast<double>(heights.sign * heights.depth);
  region.base = static_cast<double>(heights.base);
  region.smoothing_cells = response.sigma_cells;
  region.snr = static_cast<double>(std::abs(response.band.at<float>(peak)) / own_noise);
  return region;
}

}  // namespace endgrade
