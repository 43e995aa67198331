#include "flatten/clean_face.h"

#include "flatten/cell_grid.h"
#include "flatten/polar_samples.h"
#include "flatten/robust_fit.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kUnitUm = 62.5;      // lengths in the polynomials are in these, to keep them tame
constexpr double kLeastSigma = 0.25;  // luma units: rounding to whole grey levels, 1 / sqrt(12)

// Core sizes of the fibres that the standard speaks of, with room for blur: 8 to 10 um single-mode,
// 50 and 62.5 um multimode. Anything else round near the centre is not taken for a core.
bool PlausibleCore(double radius_um, cv::Point2d centre_um) {
  const bool single = radius_um > 3.0 && radius_um < 7.0;
  const bool multi = radius_um > 22.5 && radius_um < 34.0;
  return (single || multi) && std::hypot(centre_um.x, centre_um.y) < 4.0;
}

// Basis of the uneven light on one material: all of degree three in x and y, and r^4 for a smooth
// profile of the material itself.
constexpr int kLightColumns = 11;
void LightBasis(cv::Point2d um, double* row) {
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
    double sum = 0.0;
    for (size_t c = 0; c < kLightColumns; ++c) sum += coefficients_[c] * row[c];
    return sum;
  }

  // Mean over all directions at a radius: odd powers vanish, x^2 and y^2 give r^2 / 2.
  [[nodiscard]] double RingMean(double radius_um) const {
    const double r2 = radius_um * radius_um / (kUnitUm * kUnitUm);
    return coefficients_[0] + 0.5 * (coefficients_[3] + coefficients_[5]) * r2 +
           coefficients_[10] * r2 * r2;
  }

  // What is left of the light once its ring mean is gone.
  [[nodiscard]] double Uneven(cv::Point2d um) const {
    return At(um) - RingMean(std::hypot(um.x, um.y));
  }

 private:
  std::vector<double> coefficients_;
};

Light FitLight(const PolarSamples& samples, double from_um, double to_um) {
  std::vector<double> rows;
  std::vector<double> values;
  std::vector<double> weights;
  // One radius a micrometre and every second direction: 10,000 places are plenty for 11 numbers.
  const int stride = std::max(1, static_cast<int>(std::lround(1.0 / samples.step_um)));
  for (int i = 0; i < samples.num_radii; i += stride) {
    const double radius = samples.Radius(i);
    if (radius < from_um || radius > to_um) continue;
    for (int d = (i / stride) % 2; d < PolarSamples::kDirections; d += 2) {
      const float value = samples.At(i, d);
      if (std::isnan(value)) continue;
      rows.resize(rows.size() + kLightColumns);
      LightBasis(samples.PlaceUm(i, d), rows.data() + rows.size() - kLightColumns);
      values.push_back(static_cast<double>(value));
      weights.push_back(radius + samples.step_um);
    }
  }
  return Light(FitRobust(rows, values, weights, kLightColumns, kLeastSigma));
}

// A free-form brightness by radius: the median over all directions once the uneven light is gone.
struct RingTable {
  double from_um = 0;
  double step_um = 1;
  std::vector<double> values;

  [[nodiscard]] double At(double radius_um) const {
    if (values.empty()) return 0.0;
    const double position =
        std::clamp((radius_um - from_um) / step_um, 0.0, static_cast<double>(values.size() - 1));
    const auto low = static_cast<size_t>(position);
    const size_t high = std::min(low + 1, values.size() - 1);
    const double part = position - static_cast<double>(low);
    return values[low] + part * (values[high] - values[low]);
  }
};

template <typename UnevenLight>
RingTable MedianByRadius(const PolarSamples& samples, const UnevenLight& uneven) {
  RingTable table;
  table.from_um = samples.from_um;
  table.step_um = samples.step_um;
  std::vector<float> ring;
  for (int i = 0; i < samples.num_radii; ++i) {
    ring.clear();
    for (int d = 0; d < PolarSamples::kDirections; ++d) {
      const float value = samples.At(i, d);
      if (std::isnan(value)) continue;
      ring.push_back(value - static_cast<float>(uneven(samples.PlaceUm(i, d))));
    }
    const bool enough = ring.size() >= 16;
    const double before = table.values.empty() ? 0.0 : table.values.back();
    table.values.push_back(enough ? static_cast<double>(MedianOf(ring)) : before);
  }
  return table;
}

// Brightness inside the core: an even polynomial in the distance from the core's own centre.
class CoreProfile {
 public:
  CoreProfile() = default;
  CoreProfile(const PolarSamples& samples, double to_um) {
    columns_ = to_um > 12.0 ? 4 : to_um > 2.0 ? 2 : 1;
    std::vector<double> rows;
    std::vector<double> values;
    std::vector<double> weights;
    for (int i = 0; i < samples.num_radii && samples.Radius(i) <= to_um; ++i) {
      for (int d = 0; d < PolarSamples::kDirections; d += 4) {
        const float value = samples.At(i, d);
        if (std::isnan(value)) continue;
        const double r2 = std::pow(samples.Radius(i) / kUnitUm, 2);
        for (int c = 0; c < columns_; ++c) rows.push_back(std::pow(r2 * 4.0, c));
        values.push_back(static_cast<double>(value));
        weights.push_back(samples.Radius(i) + 0.25 * samples.step_um);
      }
    }
    coefficients_ = FitRobust(rows, values, weights, columns_, kLeastSigma);
  }
  [[nodiscard]] double At(double radius_um) const {
    const double r2 = 4.0 * radius_um * radius_um / (kUnitUm * kUnitUm);
    double sum = 0.0;
    for (int c = columns_; c-- > 0;) sum = sum * r2 + coefficients_[static_cast<size_t>(c)];
    return sum;
  }

 private:
  int columns_ = 0;
  std::vector<double> coefficients_;
};

// 0 below `from`, 1 above `to`, straight between.
double Ramp(double value, double from, double to) {
  return std::clamp((value - from) / std::max(to - from, 1e-9), 0.0, 1.0);
}

}  // namespace

FaceRings PlanRings(const FibreGeometry& fibre, const Scale& scale, const ContrastMap& map) {
  const double blur_um = map.blur_sigma_cells * map.um_per_cell;
  // Three sigma of blur, or the five cells that a camera's sharpening reaches.
  const double soft_um = std::max({1.5, 3.0 * blur_um, 5.0 * map.um_per_cell});
  FaceRings rings;
  rings.cladding_radius_um = fibre.cladding.MeanRadius() * scale.um_per_px;
  const double rim_um = rings.cladding_radius_um;
  rings.rim_from_um = rim_um - std::max(10.0, soft_um + 2.0);
  rings.rim_to_um = rim_um + std::max(5.5, soft_um + 2.0);
  if (fibre.adhesive_radius_ratio) {
    rings.rim_to_um =
        std::max(rings.rim_to_um, rim_um * *fibre.adhesive_radius_ratio + soft_um + 1.0);
  }
  if (fibre.core) {
    const double radius_um = fibre.core->MeanRadius() * scale.um_per_px;
    const cv::Point2d centre_um = scale.ToUm(fibre.core->centre_px);
    if (PlausibleCore(radius_um, centre_um)) {
      rings.core_radius_um = radius_um;
      rings.core_centre_um = centre_um;
      const double edge_um = std::max(2.5 * blur_um, 2.0 * map.um_per_cell);
      rings.core_from_um = std::max(0.3 * radius_um, radius_um - edge_um - 0.5);
      rings.core_to_um = radius_um + edge_um + 1.5;
    }
  }
  double minimum = 0, maximum = 0;
  cv::minMaxLoc(map.radius_um, &minimum, &maximum);
  rings.outer_um = maximum;
  return rings;
}

cv::Mat FitCleanFace(const ContrastMap& map, const Scale& scale, const FaceRings& rings) {
  const double rim_um = rings.cladding_radius_um;
  const double step_um = 0.5 * map.um_per_cell;
  const PolarSamples face =
      ReadCircles(map, scale, {0, 0}, 0.0, std::min(rings.outer_um, 145.0), step_um);
  const double glass_from = rings.core_radius_um > 0 ? rings.core_to_um + 1.0 : 0.0;
  const Light glass = FitLight(face, glass_from, rings.rim_from_um + 4.0);
  const Light ferrule = FitLight(face, rings.rim_to_um - 1.0, 1e9);

  // Across the rim the uneven light of the glass passes into that of the ferrule.
  const auto uneven = [&](cv::Point2d um) {
    const double out = Ramp(std::hypot(um.x, um.y), rim_um - 1, rim_um + 1);
    return (1.0 - out) * glass.Uneven(um) + out * ferrule.Uneven(um);
  };
  const RingTable rim = MedianByRadius(
      ReadCircles(map, scale, {0, 0}, rings.rim_from_um, rings.rim_to_um + 1, step_um), uneven);

  RingTable core_edge;
  CoreProfile core;
  const bool has_core = rings.core_radius_um > 0;
  if (has_core) {
    const PolarSamples samples =
        ReadCircles(map, scale, rings.core_centre_um, 0.0, rings.core_to_um + 1.0, step_um);
    core_edge = MedianByRadius(samples, [&](cv::Point2d um) { return glass.Uneven(um); });
    core = CoreProfile(samples, rings.core_from_um);
  }

  cv::Mat clean(map.level.size(), CV_32FC1);
  for (int row = 0; row < clean.rows; ++row) {
    auto* out = clean.ptr<float>(row);
    const auto* radii = map.radius_um.ptr<float>(row);
    for (int column = 0; column < clean.cols; ++column) {
      const double radius = static_cast<double>(radii[column]);
      const cv::Point2d um = scale.ToUm(map.PxFromCell(cv::Point2d(column, row)));
      double value = radius < rim_um ? glass.At(um) : ferrule.At(um);
      const double in_rim = std::min(Ramp(radius, rings.rim_from_um, rings.rim_from_um + 3.0),
                                     1.0 - Ramp(radius, rings.rim_to_um - 1.5, rings.rim_to_um));
      if (in_rim > 0.0) value += in_rim * (rim.At(radius) + uneven(um) - value);
      if (has_core) {
        const double from_core =
            std::hypot(um.x - rings.core_centre_um.x, um.y - rings.core_centre_um.y);
        const double edge_value = core_edge.At(from_core) + glass.Uneven(um);
        const double outside = Ramp(from_core, rings.core_to_um - 1.0, rings.core_to_um);
        const double inside = Ramp(from_core, 0.7 * rings.core_from_um, rings.core_from_um);
        const double in_core = core.At(from_core) + glass.Uneven(um);
        if (outside < 1.0) {
          const double core_value = in_core + inside * (edge_value - in_core);
          value = core_value + outside * (value - core_value);
        }
      }
      out[column] = static_cast<float>(value);
    }
  }
  return clean;
}

}  // namespace endgrade
