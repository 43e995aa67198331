// Uneven light on one material, as a smooth surface over the end face.
#pragma once

#include "endgrade/flatten.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <array>
#include <span>
#include <vector>

namespace endgrade {

inline constexpr double kUnitUm = 62.5;  // lengths in polynomials are in these, to keep them tame

// Least robust scale of a fit, luma units: rounding to whole grey levels, 1 / sqrt(12).
inline constexpr double kLeastSigma = 0.25;

// Of degree three in x and y, and r^4 for a smooth profile of the material itself.
inline constexpr int kLightColumns = 11;

// The values of the basis at a place, kLightColumns of them.
inline void LightBasis(cv::Point2d um, double* row) {
  const double x = um.x / kUnitUm;
  const double y = um.y / kUnitUm;
  const double r2 = x * x + y * y;
  const double basis[kLightColumns] = {
      1, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y, r2 * r2};
  std::copy(basis, basis + kLightColumns, row);
}

// A polynomial surface over the end face.
class Light {
 public:
  Light() : coefficients_(kLightColumns, 0.0) {}
  explicit Light(std::vector<double> coefficients) : coefficients_(std::move(coefficients)) {}

  [[nodiscard]] double At(cv::Point2d um) const {
    double row[kLightColumns];
    LightBasis(um, row);
    return Of(row);
  }

  // `row`: the basis at a place.
  [[nodiscard]] double Of(const double* row) const {
    double sum = 0.0;
    for (size_t c = 0; c < kLightColumns; ++c) sum += coefficients_[c] * row[c];
    return sum;
  }

  // Mean over all directions at a radius: odd powers vanish, x^2 and y^2 give r^2 / 2.
  [[nodiscard]] double RingMean(cv::Point2d um) const {
    const double r2 = um.dot(um) / (kUnitUm * kUnitUm);
    return coefficients_[0] + 0.5 * (coefficients_[3] + coefficients_[5]) * r2 +
           coefficients_[10] * r2 * r2;
  }

  // What is left of the light once its ring mean is gone.
  [[nodiscard]] double Uneven(cv::Point2d um) const { return At(um) - RingMean(um); }

  // The same at each of some places.
  void UnevenAtEach(std::span<const double> x_um,
                    std::span<const double> y_um,
                    double* values) const;

 private:
  std::vector<double> coefficients_;
};

// Fitted robustly to the map on circles between two distances from the centre.
[[nodiscard]] Light FitLight(const ContrastMap& map,
                             const Scale& scale,
                             double from_um,
                             double to_um);

// The light on both materials, and what it is beyond its ring mean, read at every kGrid-th cell and
// straight between: it bends too little over that distance to tell.
class LightGrid {
 public:
  static constexpr int kGrid = 8;
  using Block = std::array<float, kGrid>;
  enum Surface : size_t { kGlass, kFerrule, kUnevenGlass, kUnevenFerrule, kSurfaces };

  LightGrid(const ContrastMap& map, const Scale& scale, const Light& glass, const Light& ferrule);

  // Goes to a row of cells; blocks are of this row from then on.
  void GoToRow(int row);

  // Of `count` blocks, the cells [kGrid * first, kGrid * (first + count)) of the row.
  void Read(Surface surface, int first, int count, float* out) const;

 private:
  std::array<cv::Mat, kSurfaces> coarse_;           // CV_32FC1
  std::array<std::vector<float>, kSurfaces> line_;  // of the row, by node
};

}  // namespace endgrade
