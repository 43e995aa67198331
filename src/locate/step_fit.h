// Least squares for a profile that is made of blurred steps.
#pragma once

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade::locate {

// Mean brightness by distance from an ellipse. `noise` is the standard error of each value.
struct RimProfile {
  std::vector<double> distance;  // outwards, in pixels of the level
  std::vector<double> level;
  std::vector<double> noise;
};

// Parameters that the profile depends on in curves. Heights and slopes are solved for in between
// (variable projection; Golub and Pereyra 1973).
struct StepShape {
  double rim = 0;         // distance of the first step
  double log_sigma = 0;   // of the blur
  double log_ring = 0;    // width between the first and the second step
  double overshoot = 0;   // of a camera that sharpens, as a share of each step
  double log_spread = 0;  // of the blur that it sharpens by
};

struct StepTerms {
  bool ring = false;
  bool overshoot = false;
  [[nodiscard]] int Count() const { return 2 + (ring ? 1 : 0) + (overshoot ? 2 : 0); }
};

struct StepFit {
  StepShape shape;
  // Level inside, slope inside, slope outside, first step, second step.
  cv::Vec<double, 5> heights = cv::Vec<double, 5>::all(0);
  std::vector<double> residual;  // over the noise
  double rss = 1e300;
};

// What is known of a ring's depth before looking: as a share of the deepest possible, which is
// black or white, and the spread of its logarithm. Most are rather deep (common practice, no
// source).
struct RingPrior {
  double depth = 0.5;
  double spread = 0.45;
};

// The ring's depth as that share, from a fit's heights.
[[nodiscard]] double RingDepth(const cv::Vec<double, 5>& heights);

class StepFitter {
 public:
  StepFitter(const RimProfile& profile, const StepTerms& terms, const RingPrior& prior = {});

  [[nodiscard]] StepFit Evaluate(const StepShape& shape) const;
  // Levenberg-Marquardt from `start`.
  [[nodiscard]] StepFit Descend(const StepShape& start) const;
  // Standard deviation of the first step's place, from the curvature at the best fit.
  [[nodiscard]] double RimUncertainty(const StepFit& fit) const;

 private:
  using Row = cv::Vec<double, 5>;
  // What a shape means in pixels, worked out once for a whole profile.
  struct Scales {
    double rim, per_sigma, per_wide, ring, overshoot;
  };
  [[nodiscard]] static Scales ScalesOf(const StepShape& shape);
  [[nodiscard]] double StepAt(double x, const Scales& scales) const;
  [[nodiscard]] Row BasisAt(double distance, const Scales& scales) const;
  [[nodiscard]] StepShape Clamped(StepShape shape) const;
  [[nodiscard]] cv::Mat Jacobian(const StepFit& fit) const;

  const RimProfile& profile_;
  StepTerms terms_;
  RingPrior prior_;
};

}  // namespace endgrade::locate
