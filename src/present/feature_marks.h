// Features on the overlay: where they are, and the outlines beside them.
#pragma once

#include "endgrade/judge.h"
#include "present/paint.h"
#include "present/photograph.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// Sizes of lines on the overlay, pixels, as a multiple of one unit (1/24 of the text's em).
struct LineSizes {
  explicit LineSizes(double em_px) : unit(em_px / 24.0) {}
  double unit;
  // From a feature's pixels to the inner edge of its outline: the outline is beside it.
  [[nodiscard]] double Gap() const { return 1.0 + 1.5 * unit; }
  [[nodiscard]] double Heavy() const { return 4.5 * unit; }  // outline of what breaks a rule
  [[nodiscard]] double Thin() const { return 1.75 * unit; }  // outline of what is allowed
  [[nodiscard]] double Ring() const { return 1.4 * unit; }
  [[nodiscard]] double Rim() const { return 0.5 + 0.75 * unit; }  // dark edge along a light line
  // From a feature's pixels to the outer edge of the heaviest outline.
  [[nodiscard]] double Reach() const { return Gap() + Heavy() + Rim(); }
};

// One feature's outline in overlay pixels.
struct MarkedFeature {
  int id = 0;
  bool breaks = false;
  std::size_t layer = 0;
  std::vector<cv::Point2d> outline;
};

// Features that neither overlap nor touch, so that each has a whole outline of its own. Maps are
// CV_8UC1 of the roi's size; distances in steps of 1 / FeatureMap::kStepsPerPx, 255 for all that is
// farther than the steps reach.
struct FeatureLayer {
  cv::Mat to_broken;          // distance to the nearest of this layer that breaks a rule
  cv::Mat to_allowed;         // and to the nearest that is allowed
  cv::Mat spared_by_heavy;    // 255 on this layer's features and later layers' that break a rule
  cv::Mat covered_and_later;  // 255 on the pixels of this layer's features and of later layers'
  cv::Mat to_any_and_later;   // distance to the nearest of those
};

// Features as overlay pixels, in layers: large ones first, what lies on them in later ones. Outside
// `roi` there is no feature nearer than the reach of an outline.
struct FeatureMap {
  static constexpr int kStepsPerPx = 16;

  std::vector<MarkedFeature> features;  // in the order of the record
  cv::Rect roi;                         // empty without features; then there are no layers
  std::vector<FeatureLayer> layers;
  cv::Mat covered_sums;  // CV_32SC1: integral of the first layer's covered_and_later

  // Distance to the nearest feature of a layer or a later one; what is far is at least 15 pixels.
  [[nodiscard]] double DistancePx(cv::Point p, std::size_t layer = 0) const;

  // True where `box` grown by `margin` holds no pixel of a feature.
  [[nodiscard]] bool IsFree(const cv::Rect2d& box, double margin) const;
};

// A feature without an outline is a circle of its enclosing diameter about its centre; one without
// a usable place is left away.
[[nodiscard]] FeatureMap MapFeatures(const FibreGrade& fibre,
                                     const Photograph& photograph,
                                     const LineSizes& sizes);

// Outlines beside every feature's pixels: heavy where a rule is broken, thin where it is not, each
// with a dark rim that shows it on bright pictures. None is on its own feature nor on those apart
// from it. Where features touch, the smaller one's is whole, and that of what breaks a rule before
// that of what is allowed.
void DrawOutlines(cv::Mat& picture, const FeatureMap& map, const LineSizes& sizes);

// Colours of outlines; the legend shows them too.
[[nodiscard]] Colour BrokenColour();
[[nodiscard]] Colour AllowedColour();

}  // namespace endgrade
