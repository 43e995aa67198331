#include "present/paint.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// Blends by the signed distance from a shape's edge (negative inside): a pixel that the edge cuts
// is covered in part. `extent` holds the shape.
template <typename Distance>
void FillByDistance(cv::Mat& picture,
                    const cv::Rect2d& extent,
                    const Colour& colour,
                    const Distance& distance) {
  const int left = std::max(0, static_cast<int>(std::floor(extent.x)) - 1);
  const int top = std::max(0, static_cast<int>(std::floor(extent.y)) - 1);
  const int right = std::min(picture.cols, static_cast<int>(std::ceil(extent.br().x)) + 2);
  const int bottom = std::min(picture.rows, static_cast<int>(std::ceil(extent.br().y)) + 2);
  for (int y = top; y < bottom; ++y) {
    for (int x = left; x < right; ++x) {
      const double share = std::clamp(0.5 - distance(cv::Point2d(x, y)), 0.0, 1.0);
      const int alpha = static_cast<int>(255.0 * share);
      if (alpha > 0) BlendPixel(picture.at<cv::Vec3b>(y, x), colour, alpha);
    }
  }
}

}  // namespace

void BlendCoverage(
    cv::Mat& picture, const cv::Mat& coverage, cv::Point at, const Colour& colour, double opacity) {
  const cv::Rect inside = cv::Rect(at, coverage.size()) & cv::Rect({0, 0}, picture.size());
  const int weight = static_cast<int>(std::lround(256.0 * opacity));
  for (int y = inside.y; y < inside.br().y; ++y) {
    const std::uint8_t* from = coverage.ptr(y - at.y) - at.x;
    auto* row = picture.ptr<cv::Vec3b>(y);
    for (int x = inside.x; x < inside.br().x; ++x) {
      if (from[x] != 0) BlendPixel(row[x], colour, (from[x] * weight) >> 8);
    }
  }
}

void FillRounded(cv::Mat& picture, const cv::Rect2d& box, double radius, const Colour& colour) {
  const cv::Point2d centre(box.x + box.width / 2, box.y + box.height / 2);
  const double half_width = box.width / 2 - radius;
  const double half_height = box.height / 2 - radius;
  FillByDistance(picture, box, colour, [&](cv::Point2d p) {
    const double dx = std::max(std::abs(p.x - centre.x) - half_width, 0.0);
    const double dy = std::max(std::abs(p.y - centre.y) - half_height, 0.0);
    return std::hypot(dx, dy) - radius;
  });
}

void DrawSegment(
    cv::Mat& picture, cv::Point2d from, cv::Point2d to, double width, const Colour& colour) {
  const cv::Point2d along = to - from;
  const double length2 = std::max(along.dot(along), 1e-9);
  const double half = width / 2;
  const cv::Rect2d extent(std::min(from.x, to.x) - half,
                          std::min(from.y, to.y) - half,
                          std::abs(along.x) + width,
                          std::abs(along.y) + width);
  FillByDistance(picture, extent, colour, [&](cv::Point2d p) {
    const double t = std::clamp((p - from).dot(along) / length2, 0.0, 1.0);
    const cv::Point2d off = p - from - t * along;
    return std::hypot(off.x, off.y) - half;
  });
}

}  // namespace endgrade
