#include "compare/grain.h"

#include "compare/clean_residual.h"

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace endgrade::compare {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kInner_um = 67.0;    // clear of the rim and of most adhesive rings
constexpr double kRingStep_um = 0.5;  // between rings
constexpr double kLeastBand_um = 15.0;
constexpr int kSpectrumBins = 64;
constexpr double kHighest_per_um = 1.0;  // no microscope of this kind passes finer grain

// Rings of a picture's ferrule, one a row, by angle. CV_32FC1.
cv::Mat Rings(const Attempt& attempt, double outer_um) {
  const ContrastMap& map = attempt.workings.contrast;
  const cv::Mat clean = CleanResidual(attempt);
  const int rows = static_cast<int>((outer_um - kInner_um) / kRingStep_um);
  cv::Mat x(rows, kNumAngles, CV_32FC1);
  cv::Mat y(rows, kNumAngles, CV_32FC1);
  const cv::Matx22d cell_from_um = map.um_from_cell.inv();
  for (int row = 0; row < rows; ++row) {
    const double radius = kInner_um + (row + 0.5) * kRingStep_um;
    for (int i = 0; i < kNumAngles; ++i) {
      const double angle = 2 * kPi * i / kNumAngles;
      const cv::Vec2d cell = cell_from_um * cv::Vec2d(std::cos(angle), std::sin(angle)) * radius;
      x.at<float>(row, i) = static_cast<float>(map.centre_cell.x + cell[0]);
      y.at<float>(row, i) = static_cast<float>(map.centre_cell.y + cell[1]);
    }
  }
  cv::Mat rings;
  cv::remap(clean, rings, x, y, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  return rings;
}

using Spectrum = std::vector<std::complex<float>>;

std::vector<Spectrum> RowSpectra(const cv::Mat& rings) {
  cv::Mat transformed;
  cv::dft(rings, transformed, cv::DFT_ROWS | cv::DFT_COMPLEX_OUTPUT);
  std::vector<Spectrum> spectra;
  for (int row = 0; row < rings.rows; ++row) {
    const auto* values = transformed.ptr<std::complex<float>>(row);
    spectra.emplace_back(values, values + kNumAngles / 2);
  }
  return spectra;
}

double CyclesPerUm(int row, int k) {
  return k / (2 * kPi * (kInner_um + (row + 0.5) * kRingStep_um));
}

int BinOf(double f_per_um) {
  return std::min(kSpectrumBins - 1, static_cast<int>(kSpectrumBins * f_per_um / kHighest_per_um));
}

// Mean power by frequency along the rings.
std::vector<double> MeanPower(const std::vector<Spectrum>& spectra) {
  std::vector<double> power(kSpectrumBins, 0.0);
  std::vector<double> count(kSpectrumBins, 0.0);
  for (std::size_t row = 0; row < spectra.size(); ++row) {
    for (int k = 1; k < kNumAngles / 2; ++k) {
      const double f = CyclesPerUm(static_cast<int>(row), k);
      if (f >= kHighest_per_um) break;
      const auto bin = static_cast<std::size_t>(BinOf(f));
      power[bin] += std::norm(spectra[row][static_cast<std::size_t>(k)]);
      count[bin] += 1;
    }
  }
  for (std::size_t i = 0; i < power.size(); ++i) {
    if (count[i] > 0) power[i] /= count[i];
  }
  return power;
}

double BlurSigma(const Attempt& attempt) {
  const ContrastMap& map = attempt.workings.contrast;
  return std::max(0.3, map.blur_sigma_cells * map.um_per_cell);
}

// Over the robust spread of all of it.
void Standardise(std::vector<double>& values) {
  std::vector<double> sizes;
  for (const double value : values) sizes.push_back(std::abs(value));
  std::nth_element(sizes.begin(), sizes.begin() + kNumAngles / 2, sizes.end());
  const double spread = 1.4826 * sizes[kNumAngles / 2];
  for (double& value : values) value = spread > 0 ? value / spread : 0;
}

}  // namespace

GrainCorrelation CorrelateGrain(const Attempt& before, const Attempt& after, bool mirrored) {
  GrainCorrelation correlation{std::vector<double>(kNumAngles, 0.0), false};
  const double outer_um =
      std::min(before.workings.contrast.outer_um, after.workings.contrast.outer_um);
  if (outer_um < kInner_um + kLeastBand_um) return correlation;
  const auto a = RowSpectra(Rings(before, outer_um));
  const auto b = RowSpectra(Rings(after, outer_um));
  const auto power_a = MeanPower(a);
  const auto power_b = MeanPower(b);
  const double blur2 = std::pow(BlurSigma(before), 2) + std::pow(BlurSigma(after), 2);

  cv::Mat sum = cv::Mat::zeros(1, kNumAngles, CV_32FC2);
  auto* total = sum.ptr<std::complex<float>>(0);
  for (std::size_t row = 0; row < a.size(); ++row) {
    for (int k = 1; k < kNumAngles / 2; ++k) {
      const double f = CyclesPerUm(static_cast<int>(row), k);
      if (f >= kHighest_per_um) break;
      const auto bin = static_cast<std::size_t>(BinOf(f));
      const double power = std::sqrt(power_a[bin] * power_b[bin]);
      if (!(power > 0)) continue;
      const auto weight = static_cast<float>(std::exp(-2 * kPi * kPi * f * f * blur2) / power);
      const auto at = static_cast<std::size_t>(k);
      // A mirrored face runs through its angles the other way round.
      const auto first = mirrored ? a[row][at] : std::conj(a[row][at]);
      total[k] += weight * first * b[row][at];
    }
  }
  for (int k = 1; k < kNumAngles / 2; ++k) total[kNumAngles - k] = std::conj(total[k]);
  cv::Mat result;
  cv::dft(sum, result, cv::DFT_INVERSE | cv::DFT_REAL_OUTPUT);
  for (int i = 0; i < kNumAngles; ++i) {
    correlation.sigma[static_cast<std::size_t>(i)] = result.at<float>(0, i);
  }
  Standardise(correlation.sigma);
  const auto [low, high] = std::minmax_element(correlation.sigma.begin(), correlation.sigma.end());
  correlation.inverted = -*low > *high;
  return correlation;
}

}  // namespace endgrade::compare
