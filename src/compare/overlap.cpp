#include "compare/overlap.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade::compare {
namespace {

constexpr int kAcross = 12;  // points along the longer side of a patch's box

cv::Rect2f Grown(const cv::Rect2f& box, float by) {
  return {box.x - by, box.y - by, box.width + 2 * by, box.height + 2 * by};
}

bool Meet(const cv::Rect2f& a, const cv::Rect2f& b) {
  return a.x <= b.x + b.width && b.x <= a.x + a.width && a.y <= b.y + b.height &&
         b.y <= a.y + a.height;
}

bool IsNear(const cv::Point2f& p, const Patch& patch, double reach_um) {
  return Grown(patch.box, static_cast<float>(reach_um)).contains(p) &&
         cv::pointPolygonTest(patch.outline, p, true) >= -reach_um;
}

}  // namespace

Patch MakePatch(const std::vector<cv::Point2d>& outline_um) {
  Patch patch;
  for (const cv::Point2d& p : outline_um) {
    patch.outline.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
  }
  if (patch.outline.empty()) return patch;
  float x0 = patch.outline.front().x;
  float y0 = patch.outline.front().y;
  float x1 = x0;
  float y1 = y0;
  for (const cv::Point2f& p : patch.outline) {
    x0 = std::min(x0, p.x);
    y0 = std::min(y0, p.y);
    x1 = std::max(x1, p.x);
    y1 = std::max(y1, p.y);
  }
  patch.box = {x0, y0, x1 - x0, y1 - y0};
  patch.area_um2 = std::abs(cv::contourArea(patch.outline));
  const float step = std::max(0.2F, std::max(x1 - x0, y1 - y0) / kAcross);
  for (float y = y0 + step / 2; y < y1; y += step) {
    for (float x = x0 + step / 2; x < x1; x += step) {
      if (cv::pointPolygonTest(patch.outline, {x, y}, false) > 0) patch.points.emplace_back(x, y);
    }
  }
  // Thin things are all outline.
  if (patch.points.size() < 20) {
    patch.points.insert(patch.points.end(), patch.outline.begin(), patch.outline.end());
  }
  return patch;
}

double Covered(const Patch& patch, const Patch& by, double reach_um) {
  if (patch.points.empty() || by.outline.empty() ||
      !Meet(Grown(patch.box, static_cast<float>(reach_um)), by.box)) {
    return 0;
  }
  const auto covered = std::count_if(patch.points.begin(), patch.points.end(), [&](const auto& p) {
    return IsNear(p, by, reach_um);
  });
  return static_cast<double>(covered) / static_cast<double>(patch.points.size());
}

double Covered(const Patch& patch, const std::vector<Patch>& by, double reach_um) {
  if (patch.points.empty()) return 0;
  std::vector<const Patch*> near;
  for (const Patch& other : by) {
    if (!other.outline.empty() && Meet(Grown(patch.box, static_cast<float>(reach_um)), other.box)) {
      near.push_back(&other);
    }
  }
  const auto covered = std::count_if(patch.points.begin(), patch.points.end(), [&](const auto& p) {
    return std::any_of(
        near.begin(), near.end(), [&](const Patch* other) { return IsNear(p, *other, reach_um); });
  });
  return static_cast<double>(covered) / static_cast<double>(patch.points.size());
}

}  // namespace endgrade::compare
