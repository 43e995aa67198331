// Compact shapes: an outline about a centre, and what lies inside it.
#pragma once

#include "render/shape.h"

#include <vector>

namespace endgrade::render {

class Blob : public Shape {
 public:
  Blob(const SceneFeature& feature, const SceneFibre& fibre);

  [[nodiscard]] cv::Rect2d BoxUm() const override;
  bool Paint(const SubGrid& grid,
             const cv::Rect& part,
             cv::Mat& contrast,
             cv::Mat& cover) const override;
  [[nodiscard]] std::vector<cv::Point2d> Outline() const override;
  [[nodiscard]] double RadiusInner() const override;

 private:
  // Where a point stands to the outline.
  struct Place {
    double depth_um;  // inwards from the outline, along the radius
    double radius;    // of the outline in this direction, um
    double angle;     // of the direction, in the feature's own axes
  };
  [[nodiscard]] Place PlaceOf(cv::Point2d p_um) const;
  [[nodiscard]] double OutlineRadius(double angle) const;
  [[nodiscard]] double ContrastAt(const Place& place, cv::Point2d from_centre_um) const;
  [[nodiscard]] double Thickness(cv::Point2d from_centre_um) const;
  [[nodiscard]] double MaxRadius() const { return max_radius_um_; }

  SceneFeature feature_;
  double clip_radius_um_;  // a chip ends at the cladding's rim; 0: no clipping
  double cos_;
  double sin_;
  std::vector<double> radius_um_;  // by direction, in equal steps over the full turn
  double max_radius_um_ = 0;
};

}  // namespace endgrade::render
