#include "flatten/light.h"

#include "flatten/polar_samples.h"
#include "flatten/robust_fit.h"

#include <cmath>

namespace endgrade {
namespace {

// 2,000 places are plenty for 11 numbers: a circle every two micrometres, 64 directions on each.
constexpr double kLightStepUm = 2.0;
constexpr int kLightDirections = 64;

}  // namespace

Light FitLight(const ContrastMap& map, const Scale& scale, double from_um, double to_um) {
  const PolarSamples samples =
      ReadCircles(map, scale, {0, 0}, {from_um, to_um, kLightStepUm, kLightDirections});
  std::vector<double> rows;
  std::vector<double> values;
  std::vector<double> weights;
  for (int i = 0; i < samples.num_radii; ++i) {
    for (int d = 0; d < samples.num_directions; ++d) {
      const float value = samples.At(i, d);
      if (std::isnan(value)) continue;
      rows.resize(rows.size() + kLightColumns);
      LightBasis(samples.PlaceUm(i, d), rows.data() + rows.size() - kLightColumns);
      values.push_back(static_cast<double>(value));
      weights.push_back(samples.Radius(i) + 0.25 * kLightStepUm);
    }
  }
  return Light(FitRobust(rows, values, weights, kLightColumns, kLeastSigma));
}

LightGrid::LightGrid(const ContrastMap& map,
                     const Scale& scale,
                     const Light& glass,
                     const Light& ferrule) {
  const cv::Size size(map.level.cols / kGrid + 3, map.level.rows / kGrid + 3);
  for (size_t s = 0; s < kSurfaces; ++s) {
    coarse_[s] = cv::Mat(size, CV_32FC1);
    line_[s].resize(static_cast<size_t>(size.width));
  }
  // Node i is the middle of cells [kGrid * (i - 1), kGrid * i).
  const double first = -kGrid + 0.5 * (kGrid - 1);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const cv::Point2d cell(first + kGrid * x, first + kGrid * y);
      const cv::Point2d um = scale.ToUm(map.PxFromCell(cell));
      double row[kLightColumns];
      LightBasis(um, row);
      const double on_glass = glass.Of(row);
      const double on_ferrule = ferrule.Of(row);
      coarse_[kGlass].at<float>(y, x) = static_cast<float>(on_glass);
      coarse_[kFerrule].at<float>(y, x) = static_cast<float>(on_ferrule);
      coarse_[kUnevenGlass].at<float>(y, x) = static_cast<float>(on_glass - glass.RingMean(um));
      coarse_[kUnevenFerrule].at<float>(y, x) =
          static_cast<float>(on_ferrule - ferrule.RingMean(um));
    }
  }
}

void LightGrid::GoToRow(int row) {
  const double place = (row + 0.5) / kGrid + 0.5;
  const int above = static_cast<int>(place);
  const auto part = static_cast<float>(place - above);
  for (size_t s = 0; s < kSurfaces; ++s) {
    const auto* upper = coarse_[s].ptr<float>(above);
    const auto* lower = coarse_[s].ptr<float>(above + 1);
    for (size_t i = 0; i < line_[s].size(); ++i) {
      line_[s][i] = upper[i] * (1.0F - part) + lower[i] * part;
    }
  }
}

}  // namespace endgrade
