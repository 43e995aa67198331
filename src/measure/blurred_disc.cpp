#include "measure/blurred_disc.h"

#include "core/gaussian.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kSizes = 80;
constexpr double kLargestRadius = 6.0;  // in sigma; beyond it the seen width is the true one

// A disc cut into chords by a blur of one sigma: Simpson's rule over angle.
class Chords {
 public:
  explicit Chords(double radius) {
    for (int i = 0; i <= kSteps; ++i) {
      const double angle = M_PI * (static_cast<double>(i) / kSteps - 0.5);
      const double y = radius * std::sin(angle);
      const double rule = i == 0 || i == kSteps ? 1.0 : (i % 2 ? 4.0 : 2.0);
      half_[static_cast<size_t>(i)] = radius * std::cos(angle);
      weight_[static_cast<size_t>(i)] = rule * std::exp(-0.5 * y * y);
    }
  }

  // Integrates the Gaussian over the chord at each height of the disc.
  [[nodiscard]] double At(double from_centre) const {
    double sum = 0.0;
    for (size_t i = 0; i < half_.size(); ++i) {
      const double inside = 0.5 * (std::erf((half_[i] - from_centre) / std::sqrt(2.0)) +
                                   std::erf((half_[i] + from_centre) / std::sqrt(2.0)));
      sum += weight_[i] * inside * half_[i];
    }
    return sum * (M_PI / kSteps) / 3.0 / std::sqrt(2.0 * M_PI);
  }

 private:
  static constexpr int kSteps = 24;
  std::array<double, kSteps + 1> half_{};
  std::array<double, kSteps + 1> weight_{};
};

double SeenDiameter(double radius_sigma) {
  const double half = 0.5 * BlurredDiscPeak(radius_sigma, 1.0);
  const Chords chords(radius_sigma);
  const auto above = [&](double at) { return chords.At(at) - half; };
  // False position, halving the value of an end that stays (Illinois; Dowell & Jarratt 1971, from
  // memory): a fifth of the steps of bisection.
  double low = 0.0;
  double high = radius_sigma + 3.0;
  double at_low = above(low);
  double at_high = above(high);
  int stayed = 0;  // which end: below 0 the low one
  double root = high;
  for (int i = 0; i < 60; ++i) {
    const double next = (low * at_high - high * at_low) / (at_high - at_low);
    const double moved = std::abs(next - root);
    root = next;
    const double at_root = above(root);
    if (moved < 1e-10 || at_root == 0.0) break;
    if (at_root > 0.0) {
      low = root;
      at_low = at_root;
      if (stayed > 0) at_high *= 0.5;
      stayed = 1;
    } else {
      high = root;
      at_high = at_root;
      if (stayed < 0) at_low *= 0.5;
      stayed = -1;
    }
  }
  return 2.0 * root;
}

// Seen diameter by true radius, both in sigma.
const std::array<double, kSizes + 1>& SeenTable() {
  static const auto table = [] {
    std::array<double, kSizes + 1> t{};
    t[0] = kFwhmPerSigma;
    for (size_t i = 1; i <= kSizes; ++i) {
      t[i] =
          std::max(t[i - 1] + 1e-9, SeenDiameter(kLargestRadius * static_cast<double>(i) / kSizes));
    }
    return t;
  }();
  return table;
}

}  // namespace

double BlurredDiscPeak(double radius, double sigma) {
  return 1.0 - std::exp(-0.5 * radius * radius / (sigma * sigma));
}

double BlurredDisc(double from_centre, double radius, double sigma) {
  return Chords(radius / sigma).At(from_centre / sigma);
}

DiscSize DiscBehindBlur(double seen_diameter, double sigma) {
  const auto& table = SeenTable();
  const double seen = seen_diameter / sigma;
  const double step = 2.0 * kLargestRadius / kSizes;
  if (seen <= table[0]) return {0.0, 4.0};
  if (seen >= table[kSizes]) {
    return {seen_diameter - (table[kSizes] - 2.0 * kLargestRadius) * sigma, 1.0};
  }
  const auto above = std::upper_bound(table.begin(), table.end(), seen);
  const auto i = static_cast<size_t>(above - table.begin());
  const double span = table[i] - table[i - 1];
  const double part = (seen - table[i - 1]) / span;
  const double diameter = step * (static_cast<double>(i - 1) + part) * sigma;
  return {diameter, std::min(4.0, step / span)};
}

}  // namespace endgrade
