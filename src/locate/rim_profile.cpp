#include "locate/rim_profile.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kWhite = 255.0;
constexpr StepTerms kPlain{false, false};
constexpr StepTerms kSharpened{false, true};
constexpr StepTerms kRinged{true, false};
constexpr StepTerms kRingedSharpened{true, true};

// Least fall of the sum of squares over the noise, for each parameter more.
constexpr double kLeastGain = 6.0;

// A ring is believed when this share of the misfit is left at most: uneven light and dirt leave a
// misfit too, which a ring mends by half.
constexpr double kRingGain = 0.33;
// Misfit a value, in squares of the noise, below which no other tone is tried.
constexpr double kSmallMisfit = 0.25;
// A tone curve is believed when it takes away this share of the misfit.
constexpr double kToneGain = 0.7;

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
  const double least = std::min(std::abs(first), std::abs(second));
  const double most = std::max(std::abs(first), std::abs(second));
  if (first * second > 0.0) return ring > 3.0 * sigma && least > 0.15 * most;
  return least > 0.06 * most && ring > 0.2 * sigma;
}

double Stored(double light, double tone) {
  return kWhite * std::pow(std::max(0.0, light) / kWhite, 1.0 / tone);
}

struct Attempt {
  double tone = 1.0;
  RimProfile profile;
  StepFit plain, sharpened, ringed;

  // The smallest misfit of the three, each parameter more at its price.
  [[nodiscard]] double Cost() const {
    const double rich = std::min(sharpened.rss + 2.0 * kLeastGain, ringed.rss + 3.0 * kLeastGain);
    return std::min(plain.rss, rich);
  }
};

// The tone in which the simple models fit best. It shows in a step's own lopsidedness.
Attempt BestTone(const RimProfile& stored) {
  Attempt best;
  for (const double tone : {1.0, 1.5, 2.2}) {
    Attempt attempt;
    attempt.tone = tone;
    attempt.profile = InLight(stored, tone);
    attempt.plain = FitPlain(attempt.profile);
    if (attempt.plain.rss > kLeastGain) {
      attempt.sharpened = FitSharpened(attempt.profile, attempt.plain);
      attempt.ringed = FitRinged(attempt.profile, attempt.plain);
    }
    const bool first = best.profile.level.empty();
    if (first || attempt.Cost() < kToneGain * best.Cost() - kLeastGain) best = std::move(attempt);
    if (best.plain.rss <= kSmallMisfit * static_cast<double>(stored.level.size())) break;
  }
  return best;
}

RimModel Describe(const StepFit& fit, const StepTerms& terms, const Attempt& attempt) {
  RimModel model;
  model.shape = fit.shape;
  model.terms = terms;
  model.tone = attempt.tone;
  model.rim = fit.shape.rim;
  model.sigma = std::exp(fit.shape.log_sigma);
  const double inside = Stored(fit.heights[0], attempt.tone);
  const double past_first = Stored(fit.heights[0] + fit.heights[3], attempt.tone);
  const double outside =
      Stored(fit.heights[0] + fit.heights[3] + (terms.ring ? fit.heights[4] : 0.0), attempt.tone);
  model.first_step = past_first - inside;
  model.step = outside - inside;
  if (terms.ring) model.ring = std::exp(fit.shape.log_ring);
  model.rim_uncertainty = StepFitter(attempt.profile, terms).RimUncertainty(fit);
  model.misfit = std::sqrt(fit.rss / static_cast<double>(fit.residual.size()));
  return model;
}

}  // namespace

// A camera stores light ^ (1 / tone); blur is a mean of light, not of what is stored.
RimProfile InLight(const RimProfile& stored, double tone) {
  RimProfile light = stored;
  for (size_t i = 0; i < stored.level.size(); ++i) {
    const double share = std::max(1e-3, stored.level[i] / kWhite);
    light.level[i] = kWhite * std::pow(share, tone);
    light.noise[i] = stored.noise[i] * tone * std::pow(std::max(0.05, share), tone - 1.0);
  }
  return light;
}

std::optional<RimModel> FitRimModel(const RimProfile& profile) {
  if (profile.distance.size() < 16) return std::nullopt;
  const Attempt attempt = BestTone(profile);
  const StepFit& plain = attempt.plain;
  const StepFit& ringed = attempt.ringed;
  // Where there is no misfit to take away, no richer model can be worth it.
  if (plain.rss <= kLeastGain) return Describe(plain, kPlain, attempt);
  const StepFit& sharpened = attempt.sharpened;
  const bool sharp = Worth(plain, sharpened, 2);
  const StepFit& simple = sharp ? sharpened : plain;
  const StepTerms simple_terms = sharp ? kSharpened : kPlain;
  if (simple.rss <= kLeastGain) return Describe(simple, simple_terms, attempt);
  const bool ring = RingStands(ringed) && ringed.rss < kRingGain * simple.rss &&
                    Worth(simple, ringed, sharp ? 1 : 2);
  const StepFit both = FitRingedSharpened(attempt.profile, ringed, sharpened);
  const bool both_stand =
      RingStands(both) && both.rss < (ring ? kToneGain * ringed.rss : kRingGain * simple.rss);
  if (both_stand && Worth(ring ? ringed : simple, both, 2)) {
    return Describe(both, kRingedSharpened, attempt);
  }
  return ring ? Describe(ringed, kRinged, attempt) : Describe(simple, simple_terms, attempt);
}

}  // namespace endgrade::locate
