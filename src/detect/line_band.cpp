#include "detect/line_band.h"

#include "detect/line_trace.h"

namespace endgrade {

cv::Rect BoxAround(const std::vector<cv::Point2d>& points, double reach, cv::Size size) {
  cv::Point2d low = points.front();
  cv::Point2d high = points.front();
  for (const cv::Point2d& p : points) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  }
  const cv::Point first(cvFloor(low.x - reach), cvFloor(low.y - reach));
  const cv::Point last(cvCeil(high.x + reach), cvCeil(high.y + reach));
  return cv::Rect(first, last + cv::Point(1, 1)) & cv::Rect(cv::Point(), size);
}

namespace {

// Narrows a row's columns to those abreast of a point on a line: others are nearer to other points.
void HoldAbreast(cv::Point2d at, cv::Point2d along, int y, int* left, int* right) {
  constexpr double kAbreast = 2.0;  // cells: the line bends little
  const double reach = kAbreast * std::sqrt(along.dot(along));
  const double ahead = along.y * (y - at.y);
  if (std::abs(along.x) < 1e-6) {
    if (std::abs(ahead) > reach) *right = *left - 1;
    return;
  }
  const double one = at.x + (reach - ahead) / along.x;
  const double other = at.x + (-reach - ahead) / along.x;
  *left = std::max(*left, cvCeil(std::max(std::min(one, other), -1.0)));
  *right = std::min(*right, cvFloor(std::min(std::max(one, other), 1e6)));
}

}  // namespace

Band RasteriseBand(const std::vector<cv::Point2d>& spine, double half, cv::Size size) {
  const std::vector<cv::Point2d> points = Resample(spine, 0.5);
  Band band;
  band.num_places = points.size();
  band.box = BoxAround(points, half, size);
  band.distance = cv::Mat(band.box.size(), CV_32FC1, cv::Scalar(1e9));
  band.place = cv::Mat(band.box.size(), CV_32SC1, cv::Scalar(-1));
  AlongSpine(points, half, size, [&](size_t i, int y, int left, int right) {
    const cv::Point2d at = points[i];
    const cv::Point2d along =
        points[std::min(i + 4, points.size() - 1)] - points[i >= 4 ? i - 4 : 0];
    if (i > 0 && i + 1 < points.size()) HoldAbreast(at, along, y, &left, &right);
    const double dy2 = (y - at.y) * (y - at.y);
    auto* held = band.distance.ptr<float>(y - band.box.y);
    auto* place = band.place.ptr<int>(y - band.box.y);
    for (int x = left; x <= right; ++x) {
      const double squared = dy2 + (x - at.x) * (x - at.x);
      float& nearest = held[x - band.box.x];
      const auto bound = static_cast<double>(nearest);
      if (squared > 1.000001 * bound * bound) continue;  // no root for what is clearly farther
      const double distance = std::sqrt(squared);
      if (distance >= static_cast<double>(std::abs(nearest))) continue;
      const double side = along.x * (y - at.y) - along.y * (x - at.x);
      nearest = static_cast<float>(side < 0 ? -distance : distance);
      place[x - band.box.x] = static_cast<int>(i);
    }
  });
  return band;
}

}  // namespace endgrade
