#include "locate/step_fit.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kWhite = 255.0;

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

double& Parameter(StepShape& shape, const StepTerms& terms, int index) {
  if (index == 0) return shape.rim;
  if (index == 1) return shape.log_sigma;
  if (terms.ring && index == 2) return shape.log_ring;
  return index == (terms.ring ? 3 : 2) ? shape.overshoot : shape.log_spread;
}

// A ring narrower than the blur shows its depth times its width and no more; what is known of the
// depth decides then. The profile overrules it wherever it resolves the ring.
double RingDoubt(const cv::Vec<double, 5>& heights, const RingPrior& prior) {
  if (heights[3] * heights[4] >= 0.0) return 0.0;
  const double depth = RingDepth(heights);
  const double unlikely = std::log(std::max(1e-3, depth) / prior.depth) / prior.spread;
  return depth <= 1.0 ? unlikely : unlikely + 12.0 * (depth - 1.0);
}

}  // namespace

double RingDepth(const cv::Vec<double, 5>& heights) {
  const double deepest = std::max(5.0, heights[3] < 0.0 ? heights[0] : kWhite - heights[0]);
  return std::abs(heights[3]) / deepest;
}

StepFitter::StepFitter(const RimProfile& profile, const StepTerms& terms, const RingPrior& prior)
    : profile_(profile), terms_(terms), prior_(prior) {}

StepFit StepFitter::Evaluate(const StepShape& shape) const {
  const size_t count = profile_.distance.size();
  const Scales scales = ScalesOf(shape);
  std::vector<Row> rows(count);
  cv::Matx<double, 5, 5> normal = cv::Matx<double, 5, 5>::eye() * 1e-9;
  Row right = Row::all(0);
  for (size_t i = 0; i < count; ++i) {
    const double weight = 1.0 / profile_.noise[i];
    rows[i] = BasisAt(profile_.distance[i], scales) * weight;
    const double target = profile_.level[i] * weight;
    for (int a = 0; a < 5; ++a) {
      for (int b = a; b < 5; ++b) normal(a, b) += rows[i][a] * rows[i][b];
      right[a] += rows[i][a] * target;
    }
  }
  for (int a = 0; a < 5; ++a) {
    for (int b = 0; b < a; ++b) normal(a, b) = normal(b, a);
  }
  if (!terms_.ring) normal(4, 4) = 1.0;
  StepFit fit;
  fit.shape = shape;
  fit.heights = normal.solve(right, cv::DECOMP_CHOLESKY);
  fit.residual.resize(count);
  fit.rss = 0.0;
  for (size_t i = 0; i < count; ++i) {
    fit.residual[i] = profile_.level[i] / profile_.noise[i] - rows[i].dot(fit.heights);
    fit.rss += fit.residual[i] * fit.residual[i];
  }
  if (terms_.ring) {
    fit.residual.push_back(RingDoubt(fit.heights, prior_));
    fit.rss += fit.residual.back() * fit.residual.back();
  }
  if (!std::isfinite(fit.rss)) fit.rss = 1e300;
  return fit;
}

StepFit StepFitter::Descend(const StepShape& start) const {
  StepFit best = Evaluate(Clamped(start));
  double damping = 1e-2;
  for (int round = 0; round < 20; ++round) {
    const cv::Mat jacobian = Jacobian(best);
    const cv::Mat residual(static_cast<int>(best.residual.size()), 1, CV_64F, best.residual.data());
    const cv::Mat gradient = jacobian.t() * residual;
    const cv::Mat curvature = jacobian.t() * jacobian;
    bool better = false;
    for (int attempt = 0; attempt < 4 && !better; ++attempt) {
      cv::Mat damped = curvature.clone();
      for (int i = 0; i < damped.rows; ++i) {
        damped.at<double>(i, i) += damping * curvature.at<double>(i, i) + 1e-9;
      }
      cv::Mat step;
      cv::solve(damped, -gradient, step, cv::DECOMP_CHOLESKY);
      StepShape next = best.shape;
      for (int i = 0; i < terms_.Count(); ++i) {
        Parameter(next, terms_, i) += std::clamp(step.at<double>(i), -1.0, 1.0);
      }
      const StepFit trial = Evaluate(Clamped(next));
      const double gain = best.rss - trial.rss;
      if (gain <= 0.0) {
        damping *= 8.0;
        continue;
      }
      better = true;
      const bool done = gain < 1e-4 * best.rss;
      best = trial;
      damping = std::max(1e-6, damping * 0.2);
      if (done) return best;
    }
    if (!better) break;
  }
  return best;
}

double StepFitter::RimUncertainty(const StepFit& fit) const {
  const cv::Mat jacobian = Jacobian(fit);
  cv::Mat curvature = jacobian.t() * jacobian;
  for (int i = 0; i < curvature.rows; ++i) curvature.at<double>(i, i) += 1e-6;
  const double freedom = std::max(1.0, static_cast<double>(fit.residual.size()) - 7.0);
  const double scatter = std::max(1.0, fit.rss / freedom);
  const cv::Mat covariance = curvature.inv(cv::DECOMP_SVD);
  return std::sqrt(std::max(0.0, covariance.at<double>(0, 0)) * scatter);
}

StepFitter::Scales StepFitter::ScalesOf(const StepShape& shape) {
  const double sigma = std::exp(shape.log_sigma);
  return {shape.rim,
          1.0 / sigma,
          1.0 / std::hypot(sigma, std::exp(shape.log_spread)),
          std::exp(shape.log_ring),
          shape.overshoot};
}

double StepFitter::StepAt(double x, const Scales& scales) const {
  const double sharp = Normal(x * scales.per_sigma);
  if (!terms_.overshoot) return sharp;
  return sharp + scales.overshoot * (sharp - Normal(x * scales.per_wide));
}

StepFitter::Row StepFitter::BasisAt(double distance, const Scales& scales) const {
  const double x = distance - scales.rim;
  const double first = StepAt(x, scales);
  if (!terms_.ring) return {1.0, x * (1.0 - first), x * first, first, 0.0};
  const double past = x - scales.ring;
  const double second = StepAt(past, scales);
  return {1.0, x * (1.0 - first), past * second, first, second};
}

StepShape StepFitter::Clamped(StepShape shape) const {
  const double span = profile_.distance.back() - profile_.distance.front();
  shape.log_sigma = std::clamp(shape.log_sigma, std::log(0.3), std::log(0.2 * span));
  shape.log_ring = std::clamp(shape.log_ring, std::log(0.4), std::log(0.35 * span));
  shape.rim = std::clamp(shape.rim, -0.3 * span, 0.3 * span);
  shape.overshoot = std::clamp(shape.overshoot, 0.0, 2.5);
  shape.log_spread =
      std::clamp(shape.log_spread, std::log(0.5), std::log(std::min(8.0, 0.1 * span)));
  return shape;
}

cv::Mat StepFitter::Jacobian(const StepFit& fit) const {
  constexpr double kDelta = 1e-3;
  const int count = terms_.Count();
  cv::Mat jacobian(static_cast<int>(fit.residual.size()), count, CV_64F);
  for (int i = 0; i < count; ++i) {
    StepShape shape = fit.shape;
    Parameter(shape, terms_, i) += kDelta;
    const StepFit moved = Evaluate(shape);
    for (int row = 0; row < jacobian.rows; ++row) {
      const auto r = static_cast<size_t>(row);
      jacobian.at<double>(row, i) = (moved.residual[r] - fit.residual[r]) / kDelta;
    }
  }
  return jacobian;
}

}  // namespace endgrade::locate
