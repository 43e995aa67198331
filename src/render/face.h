// The clean end face: how much light each point of core, cladding, adhesive and ferrule sends back.
#pragma once

#include "endgrade/scene.h"
#include "render/sub_grid.h"
#include "render/texture.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::render {

class Face {
 public:
  explicit Face(const SceneDescription& scene);

  // Linear light of every cell, CV_32FC1. 1 is the sensor's white at exposure 1.
  [[nodiscard]] cv::Mat Paint(const SubGrid& grid) const;

  // Power of the ferrule's, or the glass's, texture relative to its level squared.
  [[nodiscard]] double FerruleSpectrum(cv::Point2d f_per_um) const;
  [[nodiscard]] double GlassSpectrum(cv::Point2d f_per_um) const;

  // Distance outside the cladding's rim (negative: glass) and the rim's radius in a direction, um.
  [[nodiscard]] double RimRadius(double angle) const;
  [[nodiscard]] double AdhesiveWidth(double angle) const;

 private:
  [[nodiscard]] double Light(cv::Point2d p_um, double footprint_um) const;
  [[nodiscard]] double Core(cv::Point2d p_um, double glass, double footprint_um) const;
  [[nodiscard]] double Ferrule(cv::Point2d p_um) const;
  [[nodiscard]] double Adhesive(double angle, double glass, double ferrule) const;

  SceneFibre fibre_;
  SceneFace face_;
  std::vector<Texture> grain_;
  std::vector<Texture> lines_;
  std::vector<Texture> glass_grain_;
  double gap_direction_;  // where the fibre lies farthest from its hole's wall
};

}  // namespace endgrade::render
