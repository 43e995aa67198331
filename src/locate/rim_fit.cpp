#include "locate/rim_fit.h"

#include "locate/rim_sectors.h"
#include "locate/rim_solver.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::locate {
namespace {

constexpr double kCladdingRadiusUm = 62.5;
constexpr std::size_t kLeastSectors = 4;
constexpr SectorPlan kCoarse{12, 0.87, 1.13, 40};
constexpr int kFineSectors = 36;
constexpr int kFineColumns = 32;

// A parameter that a model does not have.
constexpr double kFixed = 1e-5;
// Sectors that fit worse than so many times the usual one count less and less.
constexpr double kWorst = 2.5;
constexpr double kMostMisfit = 10.0;

// Starts that are followed to the end, and rounds of the fits.
constexpr std::size_t kMostFollowed = 2;
constexpr std::size_t kMostMottledFollowed = 3;
constexpr int kFirstRounds = 2;
constexpr int kCoarseRounds = 6;
constexpr int kFineRounds = 5;
constexpr int kLastRounds = 4;

// A rim without a ring that leaves no more than this of what noise alone might leave needs none.
// The noise of the data is known to within a third or so, hence less than 1. Rims with a ring leave
// 0.8 and more: seen on seeds 1007001 on.
constexpr double kWellFitted = 0.45;
// A hypothesis that leaves so many times the misfit of another is not looked at again.
constexpr double kHopeless = 4.0;
// A ring whose light is within this of the glass's, as a logarithm, in most sectors is none.
constexpr double kLeastContrast = 0.03;
// Models leave out what real rims have, so that the data are less decisive than their noise says.
// Chosen on seeds 3001 to 3240.
constexpr double kTemperature = 5.0;

// The weight of sectors in which the rim was not seen; those of a ring much wider on one side are
// among them.
constexpr float kDoubt = 0.02F;

struct Hypothesis {
  RingKind kind;
  bool mottled;  // depth differs from sector to sector
};
constexpr Hypothesis kPlain{RingKind::kNone, false};

RimPrior PriorOf(const Hypothesis& what, const RimData& data) {
  const double r = data.radius;
  const double px_per_um = r / kCladdingRadiusUm;
  const bool ringed = what.kind != RingKind::kNone;
  RimPrior prior;
  const auto set = [&](RimParameter which, double mean, double sigma) {
    prior.mean[which] = mean;
    prior.sigma[which] = sigma;
  };
  set(kSize, 0.0, 0.05 * r);
  set(kShiftX, 0.0, 0.03 * r);
  set(kShiftY, 0.0, 0.03 * r);
  set(kOvalC, 0.0, 0.02 * r);
  set(kOvalS, 0.0, 0.02 * r);
  set(kLogSigma, std::log(0.45 * px_per_um), 0.6);
  set(kTail, 0.12, 0.08);
  set(kLogTone, std::log(1.6), 0.35);
  set(kSharpen, 0.4, 0.6);
  set(kLogSharpen, std::log(1.5 / data.factor), 0.3);
  // Bores are made a micrometre or two wider than the fibre, and wear: common practice, no source.
  set(kLogWidth, std::log(1.2 * px_per_um), ringed ? 0.7 : kFixed);
  set(kWidthX, 0.0, ringed ? 0.3 : kFixed);
  set(kWidthY, 0.0, ringed ? 0.3 : kFixed);
  if (what.kind == RingKind::kBright) {
    set(kLogDepth, 0.3, 0.25);
  } else {
    set(kLogDepth, -1.0, ringed ? 0.45 : kFixed);
  }
  prior.own_sigma[kGlass] = 60.0;
  prior.own_sigma[kFerrule] = 60.0;
  prior.own_sigma[kGlassSlope] = 30.0 / r;
  prior.own_sigma[kFerruleSlope] = 60.0 / r;
  prior.own_sigma[kDepthChange] = ringed ? (what.mottled ? 0.6 : 0.08) : kFixed;
  prior.own_sigma[kWidthChange] = ringed ? 0.08 : kFixed;
  return prior;
}

double MedianOf(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double MedianLevel(const RimSector& sector, std::size_t from, std::size_t to) {
  std::vector<float> values(sector.level.begin() + static_cast<std::ptrdiff_t>(from),
                            sector.level.begin() + static_cast<std::ptrdiff_t>(to));
  return static_cast<double>(Median(values));
}

RimFit StartAt(const RimVector& rim, const RimData& data) {
  RimFit fit;
  fit.rim = rim;
  for (const RimSector& sector : data.sectors) {
    SectorVector own{};
    const std::size_t columns = sector.level.size();
    own[kGlass] = MedianLevel(sector, 0, columns / 4);
    own[kFerrule] = MedianLevel(sector, columns - columns / 4, columns);
    fit.sectors.push_back(own);
  }
  return fit;
}

// Cost without what dirt in a few sectors adds.
double RobustCost(const RimFit& fit) {
  const double most = 3.0 * MedianOf(fit.misfits);
  double cost = fit.cost;
  for (const double misfit : fit.misfits) cost -= std::max(0.0, misfit - most);
  return cost;
}

// Neighbouring columns of a fine map share pixels.
double IndependentValues(const RimData& data) {
  return static_cast<double>(data.Columns()) * std::min(1.0, data.pitch / 1.5);
}

bool IsWellFitted(const RimFit& fit, const RimData& data) {
  const double expected = static_cast<double>(data.sectors.size()) * IndependentValues(data);
  return RobustCost(fit) <= kWellFitted * expected;
}

bool Cheaper(const RimFit& a, const RimFit& b) { return RobustCost(a) < RobustCost(b); }

// A ring of some width and eccentricity, `share` of its width inwards of where the rim is seen.
struct RingStart {
  double width_um, share, x, y;
};

RimVector StartOf(const RingStart& ring,
                  const RimVector& plain,
                  const RimPrior& prior,
                  double px_per_um) {
  const double width = ring.width_um * px_per_um;
  RimVector start = plain;
  start[kLogDepth] = prior.mean[kLogDepth];
  start[kLogWidth] = std::log(width);
  start[kWidthX] = ring.x;
  start[kWidthY] = ring.y;
  start[kSize] = plain[kSize] - ring.share * width;
  start[kShiftX] = plain[kShiftX] - ring.share * width * ring.x;
  start[kShiftY] = plain[kShiftY] - ring.share * width * ring.y;
  start[kLogSigma] = std::min(plain[kLogSigma], std::log(0.8 * px_per_um));
  return start;
}

std::vector<RingStart> EvenRings() {
  std::vector<RingStart> rings;
  for (const double width_um : {0.6, 1.4, 3.2}) {
    for (const double share : {0.4, 1.0}) rings.push_back({width_um, share, 0.0, 0.0});
  }
  return rings;
}

std::vector<RingStart> EccentricRings() {
  std::vector<RingStart> rings;
  for (const double width_um : {1.2, 2.8}) {
    for (const double x : {-0.6, 0.6}) {
      rings.push_back({width_um, 1.0, x, 0.0});
      rings.push_back({width_um, 1.0, 0.0, x});
    }
  }
  return rings;
}

std::vector<RingStart> DiagonalRings() {
  std::vector<RingStart> rings;
  for (const double x : {-0.42, 0.42}) {
    for (const double y : {-0.42, 0.42}) rings.push_back({2.8, 1.0, x, y});
  }
  return rings;
}

// How starts are told apart: a mottled ring's sectors each take a while to find their own light, so
// that the first steps are kept short and more of them are followed.
enum class FirstSteps { kLong, kShort };

RimFit BestOf(const RimData& data,
              RingKind kind,
              const RimPrior& prior,
              const std::vector<RimVector>& starts,
              FirstSteps steps = FirstSteps::kLong) {
  RimSolver solver(data, kind, prior, 1.0);
  const RimFit levels = StartAt(starts.front(), data);
  std::vector<RimFit> fits;
  for (const RimVector& start : starts) {
    RimFit fit = levels;
    fit.rim = start;
    if (steps == FirstSteps::kLong) {
      fit = solver.Descend(std::move(fit), kFirstRounds);
    } else {
      for (int round = 0; round < kFirstRounds; ++round) fit = solver.Descend(std::move(fit), 1);
    }
    fits.push_back(std::move(fit));
  }
  std::stable_sort(fits.begin(), fits.end(), Cheaper);
  const std::size_t most = steps == FirstSteps::kLong ? kMostFollowed : kMostMottledFollowed;
  if (fits.size() > most) fits.resize(most);
  for (RimFit& fit : fits) fit = solver.Descend(std::move(fit), kCoarseRounds);
  return *std::min_element(fits.begin(), fits.end(), Cheaper);
}

struct Candidate {
  Hypothesis what;
  RimFit fit;
  double evidence = 0;  // -2 log of its probability, but for a constant
};

std::vector<Candidate> SearchCoarse(const RimData& data) {
  const double px_per_um = data.radius / kCladdingRadiusUm;
  std::vector<Candidate> found;
  const RimPrior plain_prior = PriorOf(kPlain, data);
  std::vector<RimVector> starts;
  for (const double sigma_um : {0.2, 0.5, 1.2, 3.2}) {
    starts.push_back(plain_prior.mean);
    starts.back()[kLogSigma] = std::log(sigma_um * px_per_um);
  }
  found.push_back({kPlain, BestOf(data, RingKind::kNone, plain_prior, starts)});
  if (IsWellFitted(found.front().fit, data)) return found;
  const RimVector plain = found.front().fit.rim;
  const auto add_starts =
      [&](const std::vector<RingStart>& rings, const RimPrior& prior, std::vector<RimVector>* to) {
        for (const RingStart& ring : rings) to->push_back(StartOf(ring, plain, prior, px_per_um));
      };
  for (const RingKind kind : {RingKind::kDark, RingKind::kBright}) {
    const Hypothesis even{kind, false};
    const RimPrior prior = PriorOf(even, data);
    std::vector<RimVector> rings;
    add_starts(EvenRings(), prior, &rings);
    add_starts(EccentricRings(), prior, &rings);
    found.push_back({even, BestOf(data, kind, prior, rings)});
  }
  // A fibre to one side of its bore, in any direction; and what the even dark ring has found.
  const Hypothesis mottled{RingKind::kDark, true};
  const RimPrior prior = PriorOf(mottled, data);
  std::vector<RimVector> rings;
  add_starts(EccentricRings(), prior, &rings);
  add_starts(DiagonalRings(), prior, &rings);
  rings.push_back(found[1].fit.rim);
  found.push_back({mottled, BestOf(data, RingKind::kDark, prior, rings, FirstSteps::kShort)});
  double least = 1e300;
  for (const Candidate& each : found) least = std::min(least, RobustCost(each.fit));
  found.erase(std::remove_if(
                  found.begin(),
                  found.end(),
                  [&](const Candidate& each) { return RobustCost(each.fit) > kHopeless * least; }),
              found.end());
  return found;
}

// The part of the rays that the fits need, and no more.
SectorPlan PlanFine(const std::vector<Candidate>& found, double radius) {
  double from = 0.0;
  double to = 0.0;
  for (const Candidate& each : found) {
    const RimVector& rim = each.fit.rim;
    const double sigma = std::exp(rim[kLogSigma]);
    const double room = std::max(6.0 * sigma + 2.0, 0.03 * radius);
    const double shift = std::hypot(rim[kShiftX], rim[kShiftY]);
    const double ring =
        each.what.kind == RingKind::kNone
            ? 0.0
            : std::exp(rim[kLogWidth]) * (1.0 + std::hypot(rim[kWidthX], rim[kWidthY]));
    from = std::min(from, rim[kSize] - shift - room);
    to = std::max(to, rim[kSize] + shift + ring + room);
  }
  return {kFineSectors,
          std::max(0.85, 1.0 + from / radius),
          std::min(1.16, 1.0 + to / radius),
          kFineColumns};
}

// Sectors that fit much worse than most are dirty, chipped or hidden.
RimData Trusted(const RimFit& fit, RimData data) {
  const double most = kWorst * MedianOf(fit.misfits);
  for (std::size_t s = 0; s < data.sectors.size(); ++s) {
    const double excess = fit.misfits[s] / most;
    if (excess <= 1.0) continue;
    for (float& weight : data.sectors[s].weight) weight /= static_cast<float>(excess);
  }
  return data;
}

// How much better the rim fits than by another model, without the sectors that gain most: what
// explains the dirt on a few of them is no ring.
double Gain(const RimFit& other, const RimFit& fit, double most) {
  std::vector<double> gains;
  for (std::size_t s = 0; s < other.misfits.size(); ++s) {
    gains.push_back(std::min(other.misfits[s], most) - std::min(fit.misfits[s], most));
  }
  std::sort(gains.begin(), gains.end());
  const std::size_t kept = gains.size() - gains.size() / 6;
  double sum = 0.0;
  for (std::size_t i = 0; i < kept; ++i) sum += gains[i];
  return sum * static_cast<double>(gains.size()) / static_cast<double>(kept);
}

double RingLight(const RimFit& fit, const SectorVector& own) {
  const double base = fit.kind == RingKind::kDark ? std::min(own[kGlass], own[kFerrule])
                                                  : std::max(own[kGlass], own[kFerrule]);
  return std::pow(base, std::exp(fit.rim[kLogTone])) *
         std::exp(fit.rim[kLogDepth] + own[kDepthChange]);
}

// Does the ring differ from the glass, in most sectors?
bool RingShows(const RimFit& fit) {
  if (fit.kind == RingKind::kNone) return true;
  std::vector<double> contrasts;
  for (const SectorVector& own : fit.sectors) {
    const double glass = std::pow(own[kGlass], std::exp(fit.rim[kLogTone]));
    contrasts.push_back(std::abs(std::log(RingLight(fit, own) / glass)));
  }
  return MedianOf(contrasts) > kLeastContrast;
}

double UsualMisfit(const std::vector<Candidate>& found) {
  double least = 1e300;
  for (const Candidate& each : found) least = std::min(least, MedianOf(each.fit.misfits));
  return least;
}

void FitFine(const RimData& data, std::vector<Candidate>* found) {
  for (Candidate& each : *found) {
    RimSolver solver(data, each.what.kind, PriorOf(each.what, data), 1.0);
    each.fit = solver.Descend(StartAt(each.fit.rim, data), kFineRounds);
  }
  // The noise is what the closest model leaves.
  const double noise =
      std::clamp(std::sqrt(UsualMisfit(*found) / IndependentValues(data)), 0.2, 3.0);
  for (Candidate& each : *found) {
    const RimPrior prior = PriorOf(each.what, data);
    const RimData trusted = Trusted(each.fit, data);
    RimSolver solver(trusted, each.what.kind, prior, noise);
    each.fit = solver.Descend(std::move(each.fit), kLastRounds);
    solver.Conclude(&each.fit);
    RimSolver(data, each.what.kind, prior, noise).Assess(&each.fit);
  }
  const double most = kMostMisfit * UsualMisfit(*found);
  for (Candidate& each : *found) {
    each.evidence = each.fit.complexity - Gain(found->front().fit, each.fit, most);
    if (!RingShows(each.fit)) each.evidence += 1e4;
  }
}

// Sectors whose rim does not look like that of most others may be hidden.
void DoubtUnseen(const std::vector<double>& seen, RimData* data) {
  const auto all = static_cast<double>(seen.size());
  for (RimSector& sector : data->sectors) {
    const double turn = std::atan2(sector.sin_t, sector.cos_t) / (2.0 * std::numbers::pi);
    const auto middle = static_cast<std::ptrdiff_t>(std::lround((turn + 1.0) * all));
    int count = 0;
    for (std::ptrdiff_t i = middle - 1; i <= middle + 1; ++i) {
      count += seen[static_cast<std::size_t>(i) % seen.size()] > 0.0 ? 1 : 0;
    }
    if (count > 0) continue;
    for (float& weight : sector.weight) weight *= kDoubt;
  }
}

// Full width at half maximum of the spread of a point: a narrow Gaussian and a share of a wide one.
double PointSpreadFwhm(double sigma, double tail) {
  const auto height = [tail](double r) {  // r in narrow sigmas
    const double wide = kWiderSigma * kWiderSigma;
    return (1.0 - tail) * std::exp(-0.5 * r * r) + tail / wide * std::exp(-0.5 * r * r / wide);
  };
  double below = 0.0;
  double above = 2.0 * kWiderSigma;
  for (int i = 0; i < 40; ++i) {
    const double middle = 0.5 * (below + above);
    (height(middle) > 0.5 * height(0.0) ? below : above) = middle;
  }
  return (below + above) * sigma;
}

RimEstimate Average(const std::vector<Candidate>& found, double radius) {
  const auto best =
      std::min_element(found.begin(), found.end(), [](const Candidate& a, const Candidate& b) {
        return a.evidence < b.evidence;
      });
  std::vector<double> shares;
  double sum = 0.0;
  for (const Candidate& each : found) {
    shares.push_back(std::exp(-0.5 * (each.evidence - best->evidence) / kTemperature));
    sum += shares.back();
  }
  RimVector mean{};
  for (std::size_t i = 0; i < found.size(); ++i) {
    shares[i] /= sum;
    for (std::size_t p = 0; p < kRimCount; ++p) mean[p] += shares[i] * found[i].fit.rim[p];
  }
  double size = 0.0;
  double shift = 0.0;
  for (std::size_t i = 0; i < found.size(); ++i) {
    const auto off = [&](RimParameter p) { return found[i].fit.rim[p] - mean[p]; };
    size += shares[i] * (found[i].fit.size_variance + off(kSize) * off(kSize));
    const double apart = std::max(std::abs(off(kShiftX)), std::abs(off(kShiftY)));
    shift += shares[i] * (found[i].fit.shift_variance + apart * apart);
  }
  RimEstimate estimate;
  estimate.glass = {mean[kSize] / radius,
                    mean[kShiftX] / radius,
                    mean[kShiftY] / radius,
                    mean[kOvalC] / radius,
                    mean[kOvalS] / radius};
  estimate.radius_sigma = std::sqrt(size);
  estimate.centre_sigma = std::sqrt(shift);
  const RimFit& fit = best->fit;
  estimate.kind = fit.kind;
  // Variance of both Gaussians together, somewhat less of the tail than there is.
  estimate.blur_sigma =
      std::exp(fit.rim[kLogSigma]) * std::sqrt(std::max(0.7, 1.0 + 2.5 * fit.rim[kTail]));
  estimate.blur_fwhm = PointSpreadFwhm(std::exp(fit.rim[kLogSigma]), fit.rim[kTail]);
  std::vector<double> glass, ring, ferrule;
  for (const SectorVector& own : fit.sectors) {
    glass.push_back(own[kGlass]);
    ferrule.push_back(own[kFerrule]);
    ring.push_back(std::pow(RingLight(fit, own), std::exp(-fit.rim[kLogTone])));
  }
  estimate.glass_level = MedianOf(glass);
  estimate.ferrule_level = MedianOf(ferrule);
  estimate.ring_level = MedianOf(ring);
  if (fit.kind != RingKind::kNone) estimate.ring_width = std::exp(fit.rim[kLogWidth]);
  return estimate;
}

}  // namespace

std::optional<RimEstimate> FitWholeRim(const Level& level,
                                       const RimFrame& in_level,
                                       const std::vector<double>& seen) {
  RimData coarse = GatherSectors(level, in_level, kCoarse);
  if (coarse.sectors.size() < kLeastSectors) return std::nullopt;
  DoubtUnseen(seen, &coarse);
  std::vector<Candidate> found = SearchCoarse(coarse);
  RimData fine = GatherSectors(level, in_level, PlanFine(found, coarse.radius));
  if (fine.sectors.size() < kLeastSectors) return std::nullopt;
  DoubtUnseen(seen, &fine);
  FitFine(fine, &found);
  return Average(found, fine.radius);
}

}  // namespace endgrade::locate
