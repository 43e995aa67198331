#include "present/feature_marks.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

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
  corners.reserve(outline.size());
  for (const cv::Point2d& p : outline) {
    corners.emplace_back(static_cast<int>(std::lround((p.x - origin.x) * (1 << kFractionBits))),
                         static_cast<int>(std::lround((p.y - origin.y) * (1 << kFractionBits))));
  }
  cv::fillPoly(mask, std::vector{corners}, cv::Scalar(255), cv::LINE_8, kFractionBits);
}

cv::Rect BoxOf(const MarkedFeature& feature, cv::Size picture, double margin) {
  double left = feature.outline[0].x, right = left, top = feature.outline[0].y, bottom = top;
  for (const cv::Point2d& p : feature.outline) {
    left = std::min(left, p.x), right = std::max(right, p.x);
    top = std::min(top, p.y), bottom = std::max(bottom, p.y);
  }
  const cv::Point from(static_cast<int>(std::floor(left - margin)),
                       static_cast<int>(std::floor(top - margin)));
  const cv::Point to(static_cast<int>(std::ceil(right + margin)) + 1,
                     static_cast<int>(std::ceil(bottom + margin)) + 1);
  return cv::Rect(from, to) & cv::Rect({0, 0}, picture);
}

// Rectangles that hold every box: those of a coarse grid's connected cells, so that features which
// are apart do not cost the ground between them.
std::vector<cv::Rect> Clusters(const std::vector<cv::Rect>& boxes, cv::Rect roi) {
  constexpr int kCell = 32;
  cv::Mat cells = cv::Mat::zeros(roi.height / kCell + 1, roi.width / kCell + 1, CV_8UC1);
  for (const cv::Rect& box : boxes) {
    if (box.empty()) continue;
    const cv::Rect local = box - roi.tl();
    const cv::Point first = local.tl() / kCell;
    const cv::Point last = (local.br() - cv::Point(1, 1)) / kCell;
    cells(cv::Rect(first, last + cv::Point(1, 1))) = 255;
  }
  cv::Mat labels, stats, centroids;
  const int count = cv::connectedComponentsWithStats(cells, labels, stats, centroids, 8, CV_32S);
  std::vector<cv::Rect> clusters;
  for (int i = 1; i < count; ++i) {
    const cv::Rect rect(stats.at<int>(i, cv::CC_STAT_LEFT) * kCell,
                        stats.at<int>(i, cv::CC_STAT_TOP) * kCell,
                        stats.at<int>(i, cv::CC_STAT_WIDTH) * kCell,
                        stats.at<int>(i, cv::CC_STAT_HEIGHT) * kCell);
    clusters.push_back(rect & cv::Rect({0, 0}, roi.size()));
  }
  return clusters;
}

// Distance of every pixel to the nearest that is set, in steps of 1 / kStepsPerPx.
cv::Mat DistanceTo(const cv::Mat& mask, const std::vector<cv::Rect>& clusters) {
  cv::Mat steps(mask.size(), CV_8UC1, cv::Scalar(255));
  for (const cv::Rect& cluster : clusters) {
    const cv::Mat part = mask(cluster);
    if (cv::countNonZero(part) == 0) continue;
    cv::Mat distance, part_steps;
    cv::distanceTransform(part == 0, distance, cv::DIST_L2, cv::DIST_MASK_5, CV_32F);
    distance.convertTo(part_steps, CV_8U, FeatureMap::kStepsPerPx);
    cv::Mat target = steps(cluster);
    cv::min(target, part_steps, target);
  }
  return steps;
}

// How much of a pixel at `distance` lies within [from, to].
double Share(double distance, double from, double to) {
  return std::clamp(distance - from + 0.5, 0.0, 1.0) * std::clamp(to - distance + 0.5, 0.0, 1.0);
}

// The pixels of one layer's features.
struct LayerMasks {
  cv::Mat broken;   // CV_8UC1 of the roi's size
  cv::Mat allowed;  // likewise
};

double AreaOf(const MarkedFeature& feature) {
  std::vector<cv::Point2f> corners(feature.outline.begin(), feature.outline.end());
  return cv::contourArea(corners);
}

// The largest first, so that what lies on a feature comes after it.
std::vector<std::size_t> BySize(const std::vector<MarkedFeature>& features) {
  std::vector<double> areas;
  std::transform(features.begin(), features.end(), std::back_inserter(areas), AreaOf);
  std::vector<std::size_t> order(features.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return areas[a] > areas[b];
  });
  return order;
}

// Sets each feature's layer: the first in which it touches nothing, or the last there may be.
// `boxes`: of the features, grown by more than a pixel.
std::vector<LayerMasks> SortIntoLayers(const std::vector<cv::Rect>& boxes,
                                       cv::Rect roi,
                                       std::vector<MarkedFeature>& features) {
  constexpr std::size_t kMostLayers = 3;
  std::vector<LayerMasks> layers;
  for (const std::size_t i : BySize(features)) {
    const cv::Rect box = boxes[i] - roi.tl();
    if (box.empty()) continue;
    cv::Mat own = cv::Mat::zeros(box.size(), CV_8UC1);
    cv::Mat grown;
    FillPolygon(features[i].outline, own, boxes[i].tl());
    cv::dilate(own, grown, cv::Mat());
    std::size_t layer = 0;
    const auto touches = [&](const LayerMasks& masks) {
      return cv::countNonZero((masks.broken(box) | masks.allowed(box)) & grown) > 0;
    };
    while (layer < layers.size() && layer + 1 < kMostLayers && touches(layers[layer])) ++layer;
    if (layer == layers.size()) {
      layers.push_back({cv::Mat::zeros(roi.size(), CV_8UC1), cv::Mat::zeros(roi.size(), CV_8UC1)});
    }
    features[i].layer = layer;
    cv::Mat target = (features[i].breaks ? layers[layer].broken : layers[layer].allowed)(box);
    target |= own;
  }
  return layers;
}

// A stroke's coverage by distance.
class Stroke {
 public:
  Stroke(double gap, double width, double rim) {
    for (int step = 0; step < 255; ++step) {  // 255 is too far for any stroke
      const double distance = static_cast<double>(step) / FeatureMap::kStepsPerPx;
      const double inner = std::max(gap - rim, 0.75);  // not on the feature's own pixels
      rim_[static_cast<std::size_t>(step)] =
          Alpha(kRimOpacity * Share(distance, inner, gap + width + rim));
      line_[static_cast<std::size_t>(step)] = Alpha(Share(distance, gap, gap + width));
    }
  }

  // `steps` is the distance to the features outlined; `covered` spares all of them.
  void Draw(cv::Mat& picture,
            const cv::Mat& steps,
            const cv::Mat& covered,
            const Colour& colour) const {
    for (int y = 0; y < picture.rows; ++y) {
      auto* pixels = picture.ptr<cv::Vec3b>(y);
      const std::uint8_t* step = steps.ptr(y);
      const std::uint8_t* feature = covered.ptr(y);
      for (int x = 0; x < picture.cols; ++x) {
        if (rim_[step[x]] == 0 || feature[x] != 0) continue;
        BlendPixel(pixels[x], kBlack, rim_[step[x]]);
        BlendPixel(pixels[x], colour, line_[step[x]]);
      }
    }
  }

 private:
  static int Alpha(double share) { return static_cast<int>(std::lround(255.0 * share)); }

  std::array<int, 256> rim_{};
  std::array<int, 256> line_{};
};

}  // namespace

Colour BrokenColour() { return kOrange; }
Colour AllowedColour() { return kSkyBlue; }

double FeatureMap::DistancePx(cv::Point p, std::size_t layer) const {
  if (!roi.contains(p)) return 255.0 / kStepsPerPx;
  return layers[layer].to_any_and_later.at<std::uint8_t>(p - roi.tl()) /
         static_cast<double>(kStepsPerPx);
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
  std::vector<cv::Rect> boxes;
  for (const Feature& feature : fibre.features) {
    MarkedFeature mark{feature.id, !feature.breaks.empty(), 0, {}};
    for (const cv::Point2d& p : OutlineOrCircle(feature, fibre.scale)) {
      mark.outline.push_back(Clamped(photograph.FromPx(p), photograph.size));
    }
    if (mark.outline.empty()) continue;
    boxes.push_back(BoxOf(mark, photograph.size, sizes.Reach() + 2.0));
    map.roi |= boxes.back();
    map.features.push_back(std::move(mark));
  }
  if (map.roi.empty()) return map;
  std::vector<LayerMasks> masks = SortIntoLayers(boxes, map.roi, map.features);
  std::vector<std::vector<cv::Rect>> layer_boxes(masks.size());
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    layer_boxes[map.features[i].layer].push_back(boxes[i]);
  }
  for (std::size_t i = 0; i < masks.size(); ++i) {
    const std::vector<cv::Rect> clusters = Clusters(layer_boxes[i], map.roi);
    FeatureLayer layer;
    layer.to_broken = DistanceTo(masks[i].broken, clusters);
    layer.to_allowed = DistanceTo(masks[i].allowed, clusters);
    layer.covered_and_later = masks[i].broken | masks[i].allowed;
    layer.spared_by_heavy = layer.covered_and_later.clone();
    layer.to_any_and_later = cv::min(layer.to_broken, layer.to_allowed);
    map.layers.push_back(std::move(layer));
  }
  cv::Mat later_broken = cv::Mat::zeros(map.roi.size(), CV_8UC1);
  for (std::size_t i = map.layers.size() - 1; i > 0; --i) {
    FeatureLayer& before = map.layers[i - 1];
    const FeatureLayer& later = map.layers[i];
    before.covered_and_later |= later.covered_and_later;
    later_broken |= masks[i].broken;
    before.spared_by_heavy |= later_broken;
    cv::min(before.to_any_and_later, later.to_any_and_later, before.to_any_and_later);
  }
  cv::integral(map.layers[0].covered_and_later, map.covered_sums, CV_32S);
  return map;
}

void DrawOutlines(cv::Mat& picture, const FeatureMap& map, const LineSizes& sizes) {
  if (map.roi.empty()) return;
  cv::Mat part = picture(map.roi);
  const Stroke thin(sizes.Gap(), sizes.Thin(), sizes.Rim());
  const Stroke heavy(sizes.Gap(), sizes.Heavy(), sizes.Rim());
  for (const FeatureLayer& layer : map.layers) {
    thin.Draw(part, layer.to_allowed, layer.covered_and_later, AllowedColour());
  }
  for (const FeatureLayer& layer : map.layers) {
    heavy.Draw(part, layer.to_broken, layer.spared_by_heavy, BrokenColour());
  }
}

}  // namespace endgrade
