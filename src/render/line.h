// Long shapes: a middle line of straight pieces, and what lies within half a width of it.
#pragma once

#include "render/shape.h"

#include <vector>

namespace endgrade::render {

class Line : public Shape {
 public:
  explicit Line(const SceneFeature& feature);

  [[nodiscard]] cv::Rect2d BoxUm() const override;
  bool Paint(const SubGrid& grid,
             const cv::Rect& part,
             cv::Mat& contrast,
             cv::Mat& cover) const override;
  [[nodiscard]] std::vector<cv::Point2d> Outline() const override;
  [[nodiscard]] double RadiusInner() const override;

 private:
  // Where a point stands to the middle line.
  struct Place {
    double across_um;  // signed distance, positive on the right of the direction of travel
    double distance_um;
    double along_um;
  };
  [[nodiscard]] Place PlaceOf(cv::Point2d p_um, const std::vector<size_t>& pieces) const;
  [[nodiscard]] double ContrastAt(const Place& place, double footprint_um) const;
  [[nodiscard]] float Fade(double along_um) const;
  [[nodiscard]] bool InGap(double along_um) const;

  SceneFeature feature_;
  std::vector<cv::Point2d> spine_;
  std::vector<double> along_um_;  // by point of the spine
};

}  // namespace endgrade::render
