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
  std::vector<cv::Point2d> outline;
};

// Features as overlay pixels. Outside `roi` there is no feature nearer than the reach of an
// outline.
struct FeatureMap {
  static constexpr int kStepsPerPx =
      16;  // of the distances below; 255 stands for all that is farther

  std::vector<MarkedFeature> features;  // in the order of the record
  cv::Rect roi;                         // empty without features
  cv::Mat covered;                      // CV_8UC1 of roi's size: 255 on a feature's pixels
  cv::Mat to_broken;                    // CV_8UC1: distance to the nearest that breaks a rule
  cv::Mat to_allowed;                   // CV_8UC1: distance to the nearest that is allowed
  cv::Mat covered_sums;                 // CV_32SC1: integral of `covered`, in 255ths

  // Distance to the nearest feature; what is far is at least 15 pixels.
  [[nodiscard]] double DistancePx(cv::Point p) const;

  // True where `box` grown by `margin` holds no pixel of a feature.
  [[nodiscard]] bool IsFree(const cv::Rect2d& box, double margin) const;
};

// A feature without an outline is a circle of its enclosing diameter about its centre; one without
// a usable place is left away.
[[nodiscard]] FeatureMap MapFeatures(const FibreGrade& fibre,
                                     const Photograph& photograph,
                                     const LineSizes& sizes);

// Outlines beside every feature's pixels, none on them: heavy where a rule is broken, thin where it
// is not, each with a dark rim that shows it on bright pictures.
void DrawOutlines(cv::Mat& picture, const FeatureMap& map, const LineSizes& sizes);

// Colours of outlines; the legend shows them too.
[[nodiscard]] Colour BrokenColour();
[[nodiscard]] Colour AllowedColour();

}  // namespace endgrade
