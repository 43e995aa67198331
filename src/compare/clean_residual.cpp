#include "compare/clean_residual.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade::compare {
namespace {

constexpr float kMost = 4.0F;       // what sticks out farther is no grain
constexpr double kBeside_um = 2.0;  // a feature's own blur and fringe

}  // namespace

cv::Mat FoundMask(const Attempt& attempt, double beside_um) {
  const ContrastMap& map = attempt.workings.contrast;
  cv::Mat found = cv::Mat::zeros(map.residual.size(), CV_8UC1);
  for (const Feature& feature : attempt.grade.fibres.front().features) {
    std::vector<cv::Point> outline;
    for (const cv::Point2d& p : feature.outline_px) {
      const cv::Point2d cell = map.CellFromPx(p);
      outline.emplace_back(cvRound(cell.x), cvRound(cell.y));
    }
    if (outline.empty()) continue;
    cv::fillPoly(found, std::vector<std::vector<cv::Point>>{outline}, cv::Scalar(255));
    cv::polylines(found, outline, true, cv::Scalar(255));
  }
  const int reach = std::max(1, cvRound(beside_um / map.um_per_cell));
  cv::dilate(
      found, found, cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * reach + 1, 2 * reach + 1}));
  return found;
}

cv::Mat CleanResidual(const Attempt& attempt) {
  const ContrastMap& map = attempt.workings.contrast;
  cv::Mat clean(map.residual.size(), CV_32FC1);
  for (int y = 0; y < clean.rows; ++y) {
    const float* residual = map.residual.ptr<float>(y);
    const float* radius = map.radius_um.ptr<float>(y);
    float* out = clean.ptr<float>(y);
    for (int x = 0; x < clean.cols; ++x) {
      const double noise = radius[x] < map.outer_um ? map.ring_noise[map.RingOf(radius[x])] : 0.0;
      out[x] = noise > 0 ? std::clamp(residual[x] / static_cast<float>(noise), -kMost, kMost) : 0;
    }
  }
  if (!map.valid.empty()) clean.setTo(0, map.valid == 0);
  clean.setTo(0, FoundMask(attempt, kBeside_um));
  return clean;
}

}  // namespace endgrade::compare
