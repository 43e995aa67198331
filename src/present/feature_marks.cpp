#include "present/feature_marks.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

constexpr int kFractionBits = 4;  // of positions given to OpenCV's drawing
constexpr int kCircleCorners = 32;
constexpr double kRimOpacity = 0.8;

bool IsFinite(cv::Point2d p) { return std::isfinite(p.x) && std::isfinite(p.y); }

std::vector<cv::Point2d> OutlineOrCircle(const Feature& feature, const Scale& scale) {
  std::vector<cv::Point2d> outline;
  std::copy_if(
      feature.outline_px.begin(), feature.outline_px.end(), std::back_inserter(outline), IsFinite);
  if (!outline.empty() || !IsFinite(feature.centre_px)) return outline;
  const double diameter_um =
      std::isfinite(feature.diameter_enclosing_um) ? feature.diameter_enclosing_um : 0.0;
  const double radius_px = 0.5 * diameter_um / std::max(scale.um_per_px, 1e-6);
  for (int i = 0; i < kCircleCorners; ++i) {
    const double angle = 2.0 * CV_PI * i / kCircleCorners;
    outline.push_back(feature.centre_px +
                      radius_px * cv::Point2d(std::cos(angle), std::sin(angle)));
  }
  return outline;
}

// Within reach of OpenCV's fixed-point numbers, and no nearer to the picture for it.
cv::Point2d Clamped(cv::Point2d p, cv::Size picture) {
  constexpr double kBeyond = 4096;
  return {std::clamp(p.x, -kBeyond, picture.width + kBeyond),
          std::clamp(p.y, -kBeyond, picture.height + kBeyond)};
}

void FillPolygon(const std::vector<cv::Point2d>& outline, cv::Mat& mask, cv::Point origin) {
  std::vector<cv::Point> corners;
  for (const cv::Point2d& p : outline) {
    corners.emplace_back(static_cast<int>(std::lround((p.x - origin.x) * (1 << kFractionBits))),
                         static_cast<int>(std::lround((p.y - origin.y) * (1 << kFractionBits))));
  }
  cv::fillPoly(mask, std::vector{corners}, cv::Scalar(255), cv::LINE_8, kFractionBits);
}

cv::Rect RoiOf(const std::vector<MarkedFeature>& features, cv::Size picture, double margin) {
  cv::Rect2d all;
  for (const MarkedFeature& feature : features) {
    double left = feature.outline[0].x, right = left, top = feature.outline[0].y, bottom = top;
    for (const cv::Point2d& p : feature.outline) {
      left = std::min(left, p.x), right = std::max(right, p.x);
      top = std::min(top, p.y), bottom = std::max(bottom, p.y);
    }
    const cv::Rect2d box(
        left - margin, top - margin, right - left + 2 * margin, bottom - top + 2 * margin);
    all = all.empty() ? box : all | box;
  }
  const cv::Point from(static_cast<int>(std::floor(all.x)), static_cast<int>(std::floor(all.y)));
  const cv::Point to(static_cast<int>(std::ceil(all.br().x)) + 1,
                     static_cast<int>(std::ceil(all.br().y)) + 1);
  return cv::Rect(from, to) & cv::Rect({0, 0}, picture);
}

// Distance of every pixel to the nearest that is set, in pixels.
cv::Mat DistanceTo(const cv::Mat& mask) {
  constexpr float kFarAway = 1e6F;
  if (cv::countNonZero(mask) == 0) return cv::Mat(mask.size(), CV_32FC1, cv::Scalar(kFarAway));
  cv::Mat distance;
  cv::distanceTransform(mask == 0, distance, cv::DIST_L2, cv::DIST_MASK_5, CV_32F);
  return distance;
}

// How much of a pixel at `distance` lies within [from, to].
double Share(double distance, double from, double to) {
  return std::clamp(distance - from + 0.5, 0.0, 1.0) * std::clamp(to - distance + 0.5, 0.0, 1.0);
}

// A stroke's coverage by distance, in steps of 1/16 pixel.
class Stroke {
 public:
  Stroke(double gap, double width, double rim) : reach_(gap + width + rim + 0.5) {
    for (double d = 0; d <= reach_ + 1.0; d += 1.0 / kSteps) {
      const double edge = std::max(gap - rim, 0.75);  // not on the feature's own pixels
      rim_.push_back(Alpha(kRimOpacity * Share(d, edge, gap + width + rim)));
      line_.push_back(Alpha(Share(d, gap, gap + width)));
    }
  }

  // `distance` is that to the features outlined; `covered` spares all of them.
  void Draw(cv::Mat& picture,
            const cv::Mat& distance,
            const cv::Mat& covered,
            const Colour& colour) const {
    for (int y = 0; y < picture.rows; ++y) {
      auto* pixels = picture.ptr<cv::Vec3b>(y);
      const auto* away = distance.ptr<float>(y);
      const auto* feature = covered.ptr(y);
      for (int x = 0; x < picture.cols; ++x) {
        if (away[x] > reach_ || feature[x] != 0) continue;
        const auto step = static_cast<std::size_t>(std::lround(away[x] * kSteps));
        if (rim_[step] > 0) BlendPixel(pixels[x], kBlack, rim_[step]);
        if (line_[step] > 0) BlendPixel(pixels[x], colour, line_[step]);
      }
    }
  }

 private:
  static constexpr int kSteps = 16;
  static int Alpha(double share) { return static_cast<int>(std::lround(255.0 * share)); }

  double reach_;
  std::vector<int> rim_;
  std::vector<int> line_;
};

}  // namespace

Colour BrokenColour() { return kOrange; }
Colour AllowedColour() { return kSkyBlue; }

double FeatureMap::Distance(cv::Point p) const {
  if (!roi.contains(p)) return std::numeric_limits<double>::max();
  const cv::Point at = p - roi.tl();
  return std::min(to_broken.at<float>(at), to_allowed.at<float>(at));
}

bool FeatureMap::IsFree(const cv::Rect2d& box, double margin) const {
  const cv::Point from(static_cast<int>(std::floor(box.x - margin)),
                       static_cast<int>(std::floor(box.y - margin)));
  const cv::Point to(static_cast<int>(std::ceil(box.br().x + margin)) + 1,
                     static_cast<int>(std::ceil(box.br().y + margin)) + 1);
  const cv::Rect area = (cv::Rect(from, to) & roi) - roi.tl();
  if (area.empty()) return true;
  const auto sum = [&](int y, int x) { return covered_sums.at<int>(y, x); };
  return sum(area.br().y, area.br().x) - sum(area.br().y, area.x) - sum(area.y, area.br().x) +
             sum(area.y, area.x) ==
         0;
}

FeatureMap MapFeatures(const FibreGrade& fibre,
                       const Photograph& photograph,
                       const LineSizes& sizes) {
  FeatureMap map;
  const cv::Size picture = photograph.pixels.size();
  for (const Feature& feature : fibre.features) {
    MarkedFeature mark{feature.id, !feature.breaks.empty(), {}};
    for (const cv::Point2d& p : OutlineOrCircle(feature, fibre.scale)) {
      mark.outline.push_back(Clamped(photograph.FromPx(p), picture));
    }
    if (!mark.outline.empty()) map.features.push_back(std::move(mark));
  }
  if (map.features.empty()) return map;
  map.roi = RoiOf(map.features, picture, sizes.Reach() + 2.0);
  if (map.roi.empty()) return map;
  cv::Mat broken = cv::Mat::zeros(map.roi.size(), CV_8UC1);
  cv::Mat allowed = cv::Mat::zeros(map.roi.size(), CV_8UC1);
  for (const MarkedFeature& mark : map.features) {
    FillPolygon(mark.outline, mark.breaks ? broken : allowed, map.roi.tl());
  }
  map.covered = broken | allowed;
  map.to_broken = DistanceTo(broken);
  map.to_allowed = DistanceTo(allowed);
  cv::integral(map.covered / 255, map.covered_sums, CV_32S);
  return map;
}

void DrawOutlines(cv::Mat& picture, const FeatureMap& map, const LineSizes& sizes) {
  if (map.roi.empty()) return;
  cv::Mat part = picture(map.roi);
  const Stroke thin(sizes.Gap(), sizes.Thin(), sizes.Rim());
  const Stroke heavy(sizes.Gap(), sizes.Heavy(), sizes.Rim());
  thin.Draw(part, map.to_allowed, map.covered, AllowedColour());
  heavy.Draw(part, map.to_broken, map.covered, BrokenColour());
}

}  // namespace endgrade
