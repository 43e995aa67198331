// Smooth random texture of the face with a known power spectrum: ferrule grain, polishing lines.
#pragma once

#include "render/random.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::render {

// White noise on a lattice, interpolated by cubic B-splines. Mean 0, rms `rms` over the plane.
class Texture {
 public:
  // step_um: lattice step along and across `angle_deg`.
  Texture(std::uint64_t seed, double rms, cv::Point2d step_um, double angle_deg);

  [[nodiscard]] double At(cv::Point2d p_um) const;
  [[nodiscard]] double Rms() const { return rms_; }

  // Power density at a frequency in cycles a micrometre; its integral over the plane is rms^2.
  [[nodiscard]] double Spectrum(cv::Point2d f_per_um) const;

 private:
  double rms_;
  cv::Point2d step_um_;
  double cos_;
  double sin_;
  cv::Point2d along_;  // lattice steps a micrometre
  cv::Point2d across_;
  std::vector<float> lattice_;
};

}  // namespace endgrade::render
