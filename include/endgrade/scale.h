// Step 3, FibreGeometry -> Scale: micrometres per pixel, along both axes, and how we know.
#pragma once

#include "endgrade/limits.h"
#include "endgrade/locate.h"
#include "endgrade/reason.h"
#include "endgrade/result.h"

#include <opencv2/core.hpp>

#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// Written to records; do not rename.
enum class ScaleSource { kCladding, kGiven, kProfile };

struct ScaleOptions {
  // Known scale in micrometres per pixel (mean of both axes); empty: from the cladding.
  // Range [0.01, 10].
  std::optional<double> um_per_px;

  // Expanded relative uncertainty (k = 2) of a given scale. 0.5 % is what a stage micrometer read
  // over a few hundred pixels gives; common practice, no source. Range [0, 0.2].
  double given_relative_uncertainty = 0.005;

  // Where the given scale comes from: kGiven or kProfile.
  ScaleSource given_source = ScaleSource::kGiven;

  // Um a pixel along y over that along x, where a camera profile tells it. Range [0.5, 2].
  double pixel_aspect = 1.0;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

struct Scale {
  cv::Point2d centre_px;  // the cladding's centre, origin of end-face coordinates

  // Takes (p - centre_px) to end-face micrometres. Symmetric: it undoes non-square pixels and tilt,
  // both of which show as an elliptical cladding, and turns nothing.
  cv::Matx22d um_from_px = cv::Matx22d::eye();

  double um_per_px = 1.0;              // sqrt(det(um_from_px)): the mean of both axes
  double um_per_px_uncertainty = 0.0;  // k = 2, absolute
  ScaleSource source = ScaleSource::kCladding;
  double pixel_aspect = 1.0;  // as the options know it; 1: square, or not known

  double cladding_diameter_um = 125.0;  // as measured at this scale
  std::vector<Reason> warnings;         // e.g. "cladding_size": does not measure what it should

  [[nodiscard]] cv::Point2d ToUm(cv::Point2d p_px) const;
  [[nodiscard]] cv::Point2d ToPx(cv::Point2d p_um) const;
};

// From the cladding's nominal diameter (limits.fibre) unless options give a scale, in which case
// the shape still comes from the cladding and its measured size is checked.
[[nodiscard]] Result<Scale> SetScale(const FibreGeometry& fibre,
                                     const Limits& limits,
                                     const ScaleOptions& options = {});

}  // namespace endgrade
