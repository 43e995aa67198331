// What the lens does to the light: diffraction, defocus, aberration.
#pragma once

#include "endgrade/scene.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::render {

// sin(pi x) / (pi x).
[[nodiscard]] double Sinc(double x);

class Optics {
 public:
  explicit Optics(const SceneCamera& camera, double extra_defocus_um = 0.0);

  // Transfer at `f` cycles a micrometre, 1 at 0: the incoherent transfer of a clear circular pupil
  // (Goodman, Introduction to Fourier Optics, 3rd ed., eq. 6-31), times that of a defocused one
  // (Stokseth 1969, J. Opt. Soc. Am. 59, 1314, geometric form), times a Gaussian's.
  [[nodiscard]] double Transfer(double f_per_um) const;

  // The same from a table, to 1e-4.
  [[nodiscard]] float TransferAt(double f_per_um) const;

  // Full width at half maximum of the Gaussian whose transfer falls to a half at the same
  // frequency: 6 % wider than an Airy pattern's own, and sound for a defocused spot, whose middle
  // may be its dimmest part.
  [[nodiscard]] double Fwhm() const;
  // Sigma of the Gaussian with the in-focus point spread's width.
  [[nodiscard]] double SharpestSigma() const;
  // Distance beyond which the point spread is negligible, um.
  [[nodiscard]] double Reach() const;

  // Blurs in place: periodic beyond the borders. Cells of `cell_um`, any size that DFTs take.
  void Blur(cv::Mat& light, cv::Point2d cell_um) const;

 private:
  double cutoff_per_um_;
  double blur_radius_um_;  // of the defocused spot
  double aberration_um_;
  std::vector<float> table_;  // of Transfer, up to the cutoff
};

// Multiplies a real picture's spectrum, in OpenCV's packed form, by gain(fx, fy), cycles a
// micrometre: real and even in both.
template <typename Gain>
void ScaleSpectrum(cv::Mat& packed, cv::Point2d cell_um, const Gain& gain) {
  const int w = packed.cols;
  const int h = packed.rows;
  for (int y = 0; y < h; ++y) {
    float* row = packed.ptr<float>(y);
    const int y_edge = (y + 1) / 2;
    const int y_inner = y <= h / 2 ? y : y - h;
    for (int x = 0; x < w; ++x) {
      const int fx = (x + 1) / 2;
      const bool edge = x == 0 || (x == w - 1 && w % 2 == 0);
      const int fy = edge ? y_edge : y_inner;
      row[x] *= static_cast<float>(gain(fx / (w * cell_um.x), fy / (h * cell_um.y)));
    }
  }
}

}  // namespace endgrade::render
