#include "locate/rim_profile.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr StepTerms kPlain{false, false};
constexpr StepTerms kSharpened{false, true};
constexpr StepTerms kRinged{true, false};
constexpr StepTerms kRingedSharpened{true, true};

// Least fall of the sum of squares over the noise, for each parameter more.
constexpr double kLeastGain = 6.0;

StepFit BestOf(const StepFitter& fitter, const std::vector<StepShape>& starts) {
  StepFit best;
  for (const StepShape& start : starts) {
    StepFit fit = fitter.Descend(start);
    if (fit.rss < best.rss) best = std::move(fit);
  }
  return best;
}

StepFit FitPlain(const RimProfile& profile) {
  std::vector<StepShape> starts;
  for (const double sigma : {0.8, 2.0, 5.0, 12.0})
    starts.push_back({0.0, std::log(sigma), 0, 0, 0});
  return BestOf(StepFitter(profile, kPlain), starts);
}

StepFit FitSharpened(const RimProfile& profile, const StepFit& plain) {
  std::vector<StepShape> starts;
  for (const double spread : {1.0, 2.5}) {
    StepShape start = plain.shape;
    start.log_sigma += 0.2;
    start.overshoot = 0.6;
    start.log_spread = std::log(spread);
    starts.push_back(start);
  }
  return BestOf(StepFitter(profile, kSharpened), starts);
}

// The best few places and widths of a ring on a coarse grid, then downhill from there.
StepFit FitRinged(const RimProfile& profile, const StepFit& plain) {
  const StepFitter fitter(profile, kRinged);
  const double reach = 0.25 * (profile.distance.back() - profile.distance.front());
  std::vector<StepFit> grid;
  for (double ring = 0.8; ring < reach; ring *= 1.7) {
    const double sigma = std::min(std::exp(plain.shape.log_sigma), std::max(0.5, 0.5 * ring));
    for (const double share : {-1.0, -0.5, 0.0}) {
      StepShape shape = plain.shape;
      shape.rim = plain.shape.rim + share * ring;
      shape.log_ring = std::log(ring);
      shape.log_sigma = std::log(sigma);
      grid.push_back(fitter.Evaluate(shape));
    }
  }
  std::stable_sort(
      grid.begin(), grid.end(), [](const StepFit& a, const StepFit& b) { return a.rss < b.rss; });
  std::vector<StepShape> starts;
  for (size_t i = 0; i < std::min<size_t>(3, grid.size()); ++i) starts.push_back(grid[i].shape);
  return BestOf(fitter, starts);
}

StepFit FitRingedSharpened(const RimProfile& profile,
                           const StepFit& ringed,
                           const StepFit& sharpened) {
  StepShape start = ringed.shape;
  start.overshoot = std::max(0.3, sharpened.shape.overshoot);
  start.log_spread = sharpened.shape.log_spread;
  return BestOf(StepFitter(profile, kRingedSharpened), {start});
}

// Is the richer model worth its `extra` parameters? It must take away a misfit that is beyond what
// noise and the model's own error explain, and more than Schwarz's criterion asks with a third of
// the values taken as independent, since neighbours share pixels.
bool Worth(const StepFit& simple, const StepFit& rich, int extra) {
  const double count = static_cast<double>(simple.residual.size()) / 3.0;
  const double drop = count * std::log(simple.rss / std::max(1e-12, rich.rss));
  return simple.rss - rich.rss > kLeastGain * extra && drop > 1.5 * extra * std::log(count);
}

// Two steps the same way, closer than they are sharp, are one step whose blur is not Gaussian.
bool RingStands(const StepFit& fit) {
  const double ring = std::exp(fit.shape.log_ring);
  const double sigma = std::exp(fit.shape.log_sigma);
  const double first = fit.heights[3];
  const double second = fit.heights[4];
  if (first * second > 0.0) return ring > 3.0 * sigma;
  const double least = std::min(std::abs(first), std::abs(second));
  const double most = std::max(std::abs(first), std::abs(second));
  return least > 0.06 * most && ring > 0.3 * sigma;
}

}  // namespace

std::optional<RimModel> FitRimModel(const RimProfile& profile) {
  if (profile.distance.size() < 16) return std::nullopt;
  const StepFit plain = FitPlain(profile);
  const StepFit* best = &plain;
  StepTerms terms = kPlain;
  StepFit sharpened, ringed, both;
  // Where there is no misfit to take away, no richer model can be worth it.
  if (plain.rss > kLeastGain) {
    sharpened = FitSharpened(profile, plain);
    if (Worth(plain, sharpened, 2)) {
      best = &sharpened;
      terms = kSharpened;
    }
  }
  if (best->rss > kLeastGain) {
    ringed = FitRinged(profile, plain);
    both = FitRingedSharpened(profile, ringed, sharpened);
    if (RingStands(ringed) && Worth(*best, ringed, terms.overshoot ? 1 : 2)) {
      best = &ringed;
      terms = kRinged;
    }
    if (RingStands(both) && Worth(*best, both, 2)) {
      best = &both;
      terms = kRingedSharpened;
    }
  }
  RimModel model;
  model.rim = best->shape.rim;
  model.sigma = std::exp(best->shape.log_sigma);
  model.first_step = best->heights[3];
  model.step = best->heights[3] + (terms.ring ? best->heights[4] : 0.0);
  if (terms.ring) model.ring = std::exp(best->shape.log_ring);
  model.rim_uncertainty = StepFitter(profile, terms).RimUncertainty(*best);
  model.misfit = std::sqrt(best->rss / static_cast<double>(best->residual.size()));
  return model;
}

}  // namespace endgrade::locate
