#include "detect/stain_search.h"

#include "detect/region_growing.h"
#include "detect/response.h"

#include <opencv2/imgproc.hpp>

#include <cmath>
#include <cstdint>
#include <utility>

namespace endgrade {
namespace {

constexpr double kSmoothingUm = 2.5;     // sigma: evens out grain, keeps a stain's border
constexpr float kLeastSnr = 4.5F;        // of the smoothed residual itself, everywhere on the stain
constexpr float kLeastContrast = 0.05F;  // of the light that is there
constexpr double kLeastAreaUm2 = 400.0;  // smaller ones the search for specks sees
constexpr double kBesideRimUm = 5.0;     // what the rim leaves is no stain

// Cells of one sign that stand out of the clean face.
cv::Mat StandsOut(const ContrastMap& map, const Response& response, float sign) {
  cv::Mat mask = cv::Mat::zeros(response.smooth.size(), CV_8UC1);
  const auto outer = static_cast<float>(map.outer_um);
  const auto rim = static_cast<float>(map.cladding_radius_um);
  for (int y = 0; y < mask.rows; ++y) {
    const auto* smooth = response.smooth.ptr<float>(y);
    const auto* radius = response.radius_um.ptr<float>(y);
    auto* out = mask.ptr<std::uint8_t>(y);
    for (int x = 0; x < mask.cols; ++x) {
      if (radius[x] >= outer || std::abs(radius[x] - rim) < static_cast<float>(kBesideRimUm)) {
        continue;
      }
      const auto light = static_cast<float>(map.ring_level[map.RingOf(radius[x])]);
      const float height = sign * smooth[x];
      if (height >= kLeastContrast * light && height >= kLeastSnr * response.noise.At(radius[x])) {
        out[x] = 255;
      }
    }
  }
  return mask;
}

// Where the component numbered `label` stands out most.
cv::Point PeakOf(const Response& response, const cv::Mat& labels, int label, const cv::Rect& box) {
  cv::Point peak = box.tl();
  float most = -1.0F;
  for (int y = box.y; y < box.br().y; ++y) {
    for (int x = box.x; x < box.br().x; ++x) {
      const float height = std::abs(response.smooth.at<float>(y, x));
      if (labels.at<int>(y, x) != label || height <= most) continue;
      most = height;
      peak = {x, y};
    }
  }
  return peak;
}

}  // namespace

std::vector<Region> SearchStains(const ContrastMap& map, const cv::Mat& residual) {
  Response response = SmoothAtScale(map, residual, kSmoothingUm / map.um_per_cell);
  response.band = response.smooth;  // no surround: the clean face is the surround
  response.noise = MeasureResponseNoise(map, response);
  const double um = map.um_per_cell * response.reduction;
  const double least_cells = kLeastAreaUm2 / (um * um);
  std::vector<Region> stains;
  cv::Mat taken = cv::Mat::zeros(response.smooth.size(), CV_8UC1);
  for (const float sign : {-1.0F, 1.0F}) {
    cv::Mat labels;
    cv::Mat stats;
    cv::Mat centres;
    const int count = cv::connectedComponentsWithStats(
        StandsOut(map, response, sign), labels, stats, centres, 4, CV_32S);
    for (int i = 1; i < count; ++i) {
      if (stats.at<int>(i, cv::CC_STAT_AREA) < least_cells) continue;
      const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT),
                         stats.at<int>(i, cv::CC_STAT_TOP),
                         stats.at<int>(i, cv::CC_STAT_WIDTH),
                         stats.at<int>(i, cv::CC_STAT_HEIGHT));
      if (auto region = GrowRegion(map, response, PeakOf(response, labels, i, box), &taken)) {
        stains.push_back(*std::move(region));
      }
    }
  }
  return stains;
}

}  // namespace endgrade
