#include "locate/rim_profile.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade::locate {
namespace {

// Normal distribution function from a table: a profile needs it a few hundred thousand times.
class NormalTable {
 public:
  NormalTable() {
    for (size_t i = 0; i < values_.size(); ++i) {
      const double z = (static_cast<double>(i) - kHalf) / kPerUnit;
      values_[i] = 0.5 * std::erfc(-z / std::sqrt(2.0));
    }
  }
  [[nodiscard]] double At(double z) const {
    const double place = z * kPerUnit + kHalf;
    if (!(place > 0.0)) return 0.0;
    if (place >= 2.0 * kHalf) return 1.0;
    const auto i = static_cast<size_t>(place);
    const double share = place - static_cast<double>(i);
    return values_[i] + share * (values_[i + 1] - values_[i]);
  }

 private:
  static constexpr double kPerUnit = 256.0;
  static constexpr double kHalf = 6.0 * kPerUnit;
  std::array<double, 2 * static_cast<size_t>(kHalf) + 2> values_{};
};

double Normal(double z) {
  static const NormalTable table;
  return table.At(z);
}

// Parameters that the profile depends on in curves; heights and slopes are solved for in between
// (variable projection; Golub and Pereyra 1973).
struct Shape {
  double rim = 0;
  double log_sigma = 0;
  double log_ring = 0;
  double overshoot = 0;   // of the sharpening, as a share of the step
  double log_spread = 0;  // of the sharpening's own blur
};

struct Terms {
  bool ring = false;
  bool overshoot = false;
  [[nodiscard]] int Count() const { return 2 + (ring ? 1 : 0) + (overshoot ? 2 : 0); }
};

double& Parameter(Shape& shape, const Terms& terms, int index) {
  if (index == 0) return shape.rim;
  if (index == 1) return shape.log_sigma;
  if (terms.ring && index == 2) return shape.log_ring;
  return index == (terms.ring ? 3 : 2) ? shape.overshoot : shape.log_spread;
}

constexpr int kMostHeights = 5;
using Row = cv::Vec<double, kMostHeights>;

struct Fit {
  Shape shape;
  Row heights;  // level inside, slope inside, slope outside, first step, second step
  std::vector<double> residual;  // over the noise
  double rss = 0;
};

class Fitter {
 public:
  Fitter(const RimProfile& profile, const Terms& terms) : profile_(profile), terms_(terms) {}

  [[nodiscard]] Fit Evaluate(const Shape& shape) const {
    const size_t count = profile_.distance.size();
    std::vector<Row> rows(count);
    cv::Matx<double, kMostHeights, kMostHeights> normal =
        cv::Matx<double, kMostHeights, kMostHeights>::eye() * 1e-9;
    Row right = Row::all(0);
    for (size_t i = 0; i < count; ++i) {
      rows[i] = BasisAt(profile_.distance[i], shape) * (1.0 / profile_.noise[i]);
      normal += rows[i] * rows[i].t();
      right += rows[i] * (profile_.level[i] / profile_.noise[i]);
    }
    Fit fit;
    fit.shape = shape;
    if (!terms_.ring) normal(4, 4) = 1.0;
    fit.heights = normal.solve(right, cv::DECOMP_CHOLESKY);
    fit.residual.resize(count);
    for (size_t i = 0; i < count; ++i) {
      fit.residual[i] = profile_.level[i] / profile_.noise[i] - rows[i].dot(fit.heights);
      fit.rss += fit.residual[i] * fit.residual[i];
    }
    if (!std::isfinite(fit.rss)) fit.rss = 1e300;
    return fit;
  }

  // Levenberg-Marquardt with differences for derivatives.
  [[nodiscard]] Fit Descend(const Shape& start) const {
    Fit best = Evaluate(Clamped(start));
    double damping = 1e-2;
    for (int round = 0; round < 25; ++round) {
      const cv::Mat jacobian = Jacobian(best);
      cv::Mat residual(static_cast<int>(best.residual.size()), 1, CV_64F, best.residual.data());
      const cv::Mat gradient = jacobian.t() * residual;
      cv::Mat curvature = jacobian.t() * jacobian;
      bool better = false;
      for (int attempt = 0; attempt < 5 && !better; ++attempt) {
        cv::Mat damped = curvature.clone();
        for (int i = 0; i < damped.rows; ++i) {
          damped.at<double>(i, i) += damping * curvature.at<double>(i, i) + 1e-9;
        }
        cv::Mat step;
        cv::solve(damped, -gradient, step, cv::DECOMP_CHOLESKY);
        Shape next = best.shape;
        for (int i = 0; i < terms_.Count(); ++i) {
          Parameter(next, terms_, i) += std::clamp(step.at<double>(i), -1.0, 1.0);
        }
        const Fit trial = Evaluate(Clamped(next));
        const double gain = best.rss - trial.rss;
        if (gain > 0.0) {
          better = gain > 1e-5 * best.rss;
          best = trial;
          damping = std::max(1e-6, damping * 0.2);
          if (!better) return best;
        } else {
          damping *= 6.0;
        }
      }
      if (!better) break;
    }
    return best;
  }

  // Standard deviation of the rim's place, from the curvature at the best fit.
  [[nodiscard]] double RimUncertainty(const Fit& fit) const {
    const cv::Mat jacobian = Jacobian(fit);
    cv::Mat curvature = jacobian.t() * jacobian;
    for (int i = 0; i < curvature.rows; ++i) curvature.at<double>(i, i) += 1e-6;
    const double freedom = std::max(1.0, static_cast<double>(fit.residual.size()) - 7.0);
    const double scatter = std::max(1.0, fit.rss / freedom);
    const cv::Mat covariance = curvature.inv(cv::DECOMP_SVD);
    return std::sqrt(std::max(0.0, covariance.at<double>(0, 0)) * scatter);
  }

 private:
  [[nodiscard]] double StepAt(double x, double sigma, const Shape& shape) const {
    const double sharp = Normal(x / sigma);
    if (!terms_.overshoot) return sharp;
    return sharp +
           shape.overshoot * (sharp - Normal(x / std::hypot(sigma, std::exp(shape.log_spread))));
  }

  [[nodiscard]] Row BasisAt(double distance, const Shape& shape) const {
    const double sigma = std::exp(shape.log_sigma);
    const double x = distance - shape.rim;
    const double first = StepAt(x, sigma, shape);
    double second = 0.0;
    double outside = first;
    double past = x;
    if (terms_.ring) {
      past = x - std::exp(shape.log_ring);
      second = StepAt(past, sigma, shape);
      outside = second;
    }
    return {1.0, x * (1.0 - first), past * outside, first, second};
  }

  [[nodiscard]] Shape Clamped(Shape shape) const {
    const double span = profile_.distance.back() - profile_.distance.front();
    shape.log_sigma = std::clamp(shape.log_sigma, std::log(0.25), std::log(0.25 * span));
    shape.log_ring = std::clamp(shape.log_ring, std::log(0.4), std::log(0.4 * span));
    shape.rim = std::clamp(shape.rim, -0.3 * span, 0.3 * span);
    shape.overshoot = std::clamp(shape.overshoot, 0.0, 3.0);
    shape.log_spread = std::clamp(shape.log_spread, std::log(0.7), std::log(0.15 * span));
    return shape;
  }

  [[nodiscard]] cv::Mat Jacobian(const Fit& fit) const {
    const int count = terms_.Count();
    cv::Mat jacobian(static_cast<int>(fit.residual.size()), count, CV_64F);
    for (int i = 0; i < count; ++i) {
      constexpr double kDelta = 1e-3;
      Shape shape = fit.shape;
      Parameter(shape, terms_, i) += kDelta;
      const Fit moved = Evaluate(shape);
      for (int row = 0; row < jacobian.rows; ++row) {
        const auto r = static_cast<size_t>(row);
        jacobian.at<double>(row, i) = (moved.residual[r] - fit.residual[r]) / kDelta;
      }
    }
    return jacobian;
  }

  const RimProfile& profile_;
  Terms terms_;
};

Fit BestOf(const Fitter& fitter, const std::vector<Shape>& starts) {
  Fit best;
  best.rss = 1e301;
  for (const Shape& start : starts) {
    const Fit fit = fitter.Descend(start);
    if (fit.rss < best.rss) best = fit;
  }
  return best;
}

// Is the richer model worth its `extra` parameters? Schwarz's criterion, with half the values
// taken as independent, since neighbours share pixels.
bool Worth(const Fit& simple, const Fit& rich, int extra) {
  const double count = 0.5 * static_cast<double>(simple.residual.size());
  const double drop = count * std::log(simple.rss / std::max(1e-12, rich.rss));
  return drop > 2.0 * extra * std::log(count);
}

}  // namespace

std::optional<RimModel> FitRimModel(const RimProfile& profile) {
  if (profile.distance.size() < 16) return std::nullopt;
  const Terms plain{false, false};
  const Fitter one(profile, plain);
  std::vector<Shape> starts;
  for (const double sigma : {0.8, 2.5, 7.0}) starts.push_back({0.0, std::log(sigma), 0, 0, 0});
  const Fit single = BestOf(one, starts);

  const Terms ringed{true, false};
  const Fitter two(profile, ringed);
  starts.clear();
  const double sigma = std::exp(single.shape.log_sigma);
  for (const double ring : {1.0, 2.5, 6.0, 14.0}) {
    for (const double at : {-0.5 * ring, -ring}) {
      starts.push_back(
          {at, std::log(std::min(sigma, std::max(0.6, 0.6 * ring))), std::log(ring), 0, 0});
    }
    starts.push_back(
        {0.0, std::log(std::min(sigma, std::max(0.6, 0.6 * ring))), std::log(ring), 0, 0});
  }
  const Fit doubled = BestOf(two, starts);

  const bool ring = Worth(single, doubled, 2);
  const Fit& best = ring ? doubled : single;
  RimModel model;
  model.rim = best.shape.rim;
  model.sigma = std::exp(best.shape.log_sigma);
  model.step = best.heights[3] + (ring ? best.heights[4] : 0.0);
  if (ring) model.ring = std::exp(best.shape.log_ring);
  model.rim_uncertainty = (ring ? two : one).RimUncertainty(best);
  model.misfit = std::sqrt(best.rss / static_cast<double>(best.residual.size()));
  return model;
}

}  // namespace endgrade::locate
