#include "compare/shift.h"

#include "compare/clean_residual.h"

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace endgrade::compare {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kStep_um = 0.5;
constexpr double kInner_um = 66.0;
constexpr double kFarthest_um = 2.5;  // claddings are never farther off than this
constexpr double kLeastSigma = 7.0;   // of 10,000 places
constexpr int kBins = 48;

// The ferrule on a square grid about the centre; `at` takes the grid's micrometres to the
// picture's.
template <typename Place>
cv::Mat Sample(const Attempt& attempt, int half, double outer_um, const Place& at) {
  const ContrastMap& map = attempt.workings.contrast;
  const cv::Mat clean = CleanResidual(attempt);
  const cv::Matx22d cell_from_um = map.um_from_cell.inv();
  cv::Mat x(2 * half, 2 * half, CV_32FC1);
  cv::Mat y(2 * half, 2 * half, CV_32FC1);
  for (int row = 0; row < 2 * half; ++row) {
    for (int col = 0; col < 2 * half; ++col) {
      const cv::Point2d grid((col - half) * kStep_um, (row - half) * kStep_um);
      const double radius = std::hypot(grid.x, grid.y);
      if (radius < kInner_um || radius > outer_um) {
        x.at<float>(row, col) = -1e6F;
        y.at<float>(row, col) = -1e6F;
        continue;
      }
      const cv::Point2d um = at(grid);
      const cv::Vec2d cell = cell_from_um * cv::Vec2d(um.x, um.y);
      x.at<float>(row, col) = static_cast<float>(map.centre_cell.x + cell[0]);
      y.at<float>(row, col) = static_cast<float>(map.centre_cell.y + cell[1]);
    }
  }
  cv::Mat sampled;
  cv::remap(clean, sampled, x, y, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  return sampled;
}

cv::Mat Transform(const cv::Mat& picture) {
  cv::Mat spectrum;
  cv::dft(picture, spectrum, cv::DFT_COMPLEX_OUTPUT);
  return spectrum;
}

// Cycles a micrometre of index k of n.
double Frequency(int k, int n) { return (k <= n / 2 ? k : k - n) / (n * kStep_um); }

std::size_t BinOf(double f) {
  return static_cast<std::size_t>(std::min(kBins - 1, static_cast<int>(kBins * f * kStep_um)));
}

std::vector<double> MeanPower(const cv::Mat& spectrum) {
  std::vector<double> power(kBins, 0.0);
  std::vector<double> count(kBins, 0.0);
  const int n = spectrum.rows;
  for (int y = 0; y < n; ++y) {
    const auto* row = spectrum.ptr<std::complex<float>>(y);
    for (int x = 0; x < n; ++x) {
      const auto bin = BinOf(std::hypot(Frequency(x, n), Frequency(y, n)));
      power[bin] += std::norm(row[x]);
      count[bin] += 1;
    }
  }
  for (std::size_t i = 0; i < power.size(); ++i) {
    if (count[i] > 0) power[i] /= count[i];
  }
  return power;
}

// Place of a peak between three values, in steps from the middle one.
double Vertex(double left, double middle, double right) {
  const double bend = left - 2 * middle + right;
  return bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0;
}

double Blur2(const Attempt& attempt) {
  const ContrastMap& map = attempt.workings.contrast;
  return std::pow(std::max(0.3, map.blur_sigma_cells * map.um_per_cell), 2);
}

cv::Mat Correlate(const cv::Mat& a, const cv::Mat& b, double blur2) {
  const cv::Mat fa = Transform(a);
  const cv::Mat fb = Transform(b);
  const auto pa = MeanPower(fa);
  const auto pb = MeanPower(fb);
  const int n = a.rows;
  cv::Mat product = cv::Mat::zeros(n, n, CV_32FC2);
  for (int y = 0; y < n; ++y) {
    const auto* ra = fa.ptr<std::complex<float>>(y);
    const auto* rb = fb.ptr<std::complex<float>>(y);
    auto* out = product.ptr<std::complex<float>>(y);
    for (int x = 0; x < n; ++x) {
      const double f = std::hypot(Frequency(x, n), Frequency(y, n));
      const double power = std::sqrt(pa[BinOf(f)] * pb[BinOf(f)]);
      if (!(power > 0) || (x == 0 && y == 0)) continue;
      const auto weight = static_cast<float>(std::exp(-2 * kPi * kPi * f * f * blur2) / power);
      out[x] = weight * std::conj(ra[x]) * rb[x];
    }
  }
  cv::Mat result;
  cv::dft(product, result, cv::DFT_INVERSE | cv::DFT_REAL_OUTPUT);
  return result;
}

}  // namespace

std::optional<GrainShift> FindShift(const Attempt& before,
                                    const Attempt& after,
                                    const Registration& registration) {
  const double outer_um =
      std::min(before.workings.contrast.outer_um, after.workings.contrast.outer_um);
  if (outer_um < kInner_um + 10) return std::nullopt;
  const int half = cv::getOptimalDFTSize(static_cast<int>(outer_um / kStep_um) + 8);
  const cv::Mat a = Sample(before, half, outer_um, [](cv::Point2d p) { return p; });
  const cv::Mat b =
      Sample(after, half, outer_um, [&](cv::Point2d p) { return registration.ToAfter(p); });
  const cv::Mat surface = Correlate(a, b, Blur2(before) + Blur2(after));
  const int n = surface.rows;
  const auto value = [&](int dx, int dy) {
    return static_cast<double>(surface.at<float>((dy + n) % n, (dx + n) % n));
  };
  const int reach = static_cast<int>(kFarthest_um / kStep_um);
  int best_x = 0;
  int best_y = 0;
  for (int dy = -reach; dy <= reach; ++dy) {
    for (int dx = -reach; dx <= reach; ++dx) {
      if (std::abs(value(dx, dy)) > std::abs(value(best_x, best_y))) {
        best_x = dx;
        best_y = dy;
      }
    }
  }
  cv::Scalar mean;
  cv::Scalar spread;
  cv::meanStdDev(surface, mean, spread);
  GrainShift shift;
  const double peak = value(best_x, best_y);
  shift.sigma = spread[0] > 0 ? std::abs(peak) / spread[0] : 0;
  if (shift.sigma < kLeastSigma || std::max(std::abs(best_x), std::abs(best_y)) == reach) {
    return std::nullopt;
  }
  const double sign = peak < 0 ? -1 : 1;
  const cv::Point2d in_before(kStep_um * (best_x + Vertex(sign * value(best_x - 1, best_y),
                                                          sign * peak,
                                                          sign * value(best_x + 1, best_y))),
                              kStep_um * (best_y + Vertex(sign * value(best_x, best_y - 1),
                                                          sign * peak,
                                                          sign * value(best_x, best_y + 1))));
  // The grid is before's: what looks moved by `in_before` lies there in after, once turned.
  Registration turn = registration;
  turn.shift_um = {};
  shift.shift_um = turn.ToAfter(in_before);
  return shift;
}

}  // namespace endgrade::compare
