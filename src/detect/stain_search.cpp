#include "detect/stain_search.h"

#include "detect/blocks.h"
#include "detect/pieces.h"
#include "detect/region_growing.h"
#include "detect/response.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <utility>
#include <vector>

namespace endgrade {
namespace {

constexpr double kSmoothingUm = 2.5;     // sigma: evens out grain, keeps a stain's border
constexpr float kLeastSnr = 4.5F;        // of the smoothed residual itself, everywhere on the stain
constexpr float kLeastContrast = 0.05F;  // of the light that is there
constexpr double kLeastAreaUm2 = 400.0;  // smaller ones the search for specks sees
constexpr double kBesideRimUm = 5.0;     // what the rim leaves is no stain

// Cells that could be a stain's: 1 where they are brighter than the clean face by the least
// contrast of a stain, -1 where they are as much darker, 0 elsewhere. CV_8SC1.
cv::Mat Contrasts(const ContrastMap& map, const Response& response) {
  cv::Mat contrasts = cv::Mat::zeros(response.smooth.size(), CV_8SC1);
  const auto outer = static_cast<float>(map.outer_um);
  const auto rim = static_cast<float>(map.cladding_radius_um);
  std::vector<float> least;  // by ring
  for (const double level : map.ring_level) {
    least.push_back(kLeastContrast * static_cast<float>(level));
  }
  const float least_anywhere = *std::min_element(least.begin(), least.end());
  for (int y = 0; y < contrasts.rows; ++y) {
    const auto* smooth = response.smooth.ptr<float>(y);
    const auto* radius = response.radius_um.ptr<float>(y);
    auto* out = contrasts.ptr<std::int8_t>(y);
    ForEachReaching(smooth, contrasts.cols, least_anywhere, [&](int x) {
      if (radius[x] >= outer || std::abs(radius[x] - rim) < static_cast<float>(kBesideRimUm)) {
        return;
      }
      if (std::abs(smooth[x]) < least[map.RingOf(radius[x])]) return;
      out[x] = smooth[x] < 0 ? -1 : 1;
    });
  }
  return contrasts;
}

// Of those, the cells of one sign that stand out of the noise, too.
cv::Mat StandsOut(const Response& response, const cv::Mat& contrasts, int sign) {
  cv::Mat mask = cv::Mat::zeros(contrasts.size(), CV_8UC1);
  for (int y = 0; y < mask.rows; ++y) {
    const auto* contrast = contrasts.ptr<std::int8_t>(y);
    const auto* smooth = response.smooth.ptr<float>(y);
    const auto* radius = response.radius_um.ptr<float>(y);
    auto* out = mask.ptr<std::uint8_t>(y);
    for (int x = 0; x < mask.cols; ++x) {
      if (contrast[x] != sign) continue;
      if (std::abs(smooth[x]) >= kLeastSnr * response.noise.At(radius[x])) out[x] = 255;
    }
  }
  return mask;
}

// Where a piece stands out most.
cv::Point PeakOf(const Response& response, const MaskPiece& piece) {
  cv::Point peak = piece.box.tl();
  float most = -1.0F;
  for (const Run& run : piece.runs) {
    const auto* smooth = response.smooth.ptr<float>(run.y);
    for (int x = run.begin; x < run.end; ++x) {
      if (std::abs(smooth[x]) <= most) continue;
      most = std::abs(smooth[x]);
      peak = {x, run.y};
    }
  }
  return peak;
}

}  // namespace

std::vector<Region> SearchStains(const ContrastMap& map, const cv::Mat& residual) {
  Response response = SmoothAtScale(map, residual, kSmoothingUm / map.um_per_cell);
  const double um = map.um_per_cell * response.reduction;
  const double least_cells = kLeastAreaUm2 / (um * um);
  std::vector<Region> stains;
  const cv::Mat contrasts = Contrasts(map, response);
  if (cv::countNonZero(contrasts) < least_cells) return stains;
  response.band = response.smooth;  // no surround: the clean face is the surround
  response.noise = MeasureResponseNoise(map, response);
  cv::Mat taken = cv::Mat::zeros(response.smooth.size(), CV_8UC1);
  for (const int sign : {-1, 1}) {
    for (const MaskPiece& piece :
         PiecesOf(StandsOut(response, contrasts, sign), Touching::kSides)) {
      if (piece.area < least_cells) continue;
      if (auto region = GrowRegion(map, response, PeakOf(response, piece), &taken)) {
        stains.push_back(*std::move(region));
      }
    }
  }
  return stains;
}

}  // namespace endgrade
