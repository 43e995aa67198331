#include "locate/rim_solver.h"

#include "core/wide.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace endgrade::locate {
namespace {

// Beyond this many times the noise a value counts less: dirt (Huber 1964).
constexpr float kHuber = 2.5F;
constexpr double kEnough = 5e-4;  // share of the cost, below which a step is the last

// Logarithms of a ring's light over its neighbour's: as bright as what it lies beside, it is none.
constexpr double kLeastBright = 0.06;
constexpr double kLeastDark = 0.2;

template <typename Matrix>
bool Factor(Matrix& m) {
  const std::size_t size = m.size();
  for (std::size_t j = 0; j < size; ++j) {
    for (std::size_t i = j; i < size; ++i) {
      double sum = m[i][j];
      for (std::size_t k = 0; k < j; ++k) sum -= m[i][k] * m[j][k];
      if (i == j) {
        if (!(sum > 0.0)) return false;
        m[j][j] = std::sqrt(sum);
      } else {
        m[i][j] = sum / m[j][j];
      }
    }
  }
  return true;
}

// x of L * x = b, in place.
template <typename Matrix, typename Vector>
void SolveLower(const Matrix& factor, Vector& x) {
  for (std::size_t i = 0; i < x.size(); ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= factor[i][k] * x[k];
    x[i] /= factor[i][i];
  }
}

template <typename Matrix, typename Vector>
void Solve(const Matrix& factor, Vector& x) {
  SolveLower(factor, x);
  for (std::size_t i = x.size(); i-- > 0;) {
    for (std::size_t k = i + 1; k < x.size(); ++k) x[i] -= factor[k][i] * x[k];
    x[i] /= factor[i][i];
  }
}

template <typename Matrix>
double LogDeterminant(const Matrix& factor) {
  double sum = 0.0;
  for (std::size_t i = 0; i < factor.size(); ++i) sum += 2.0 * std::log(factor[i][i]);
  return sum;
}

SectorVector Clamped(SectorVector sector) {
  sector[kGlass] = std::clamp(sector[kGlass], 0.5, 280.0);
  sector[kFerrule] = std::clamp(sector[kFerrule], 0.5, 280.0);
  sector[kWidthChange] = std::clamp(sector[kWidthChange], -0.6, 0.6);
  sector[kDepthChange] = std::clamp(sector[kDepthChange], -2.5, 2.5);
  return sector;
}

// What the model misses along eight rays, with its weight. Sets the rays' misfits.
ENDGRADE_WIDE void WeighMisses(const std::vector<RimShown>& shown,
                               const float* values,
                               float per_scale,
                               std::vector<RimMiss>* misses,
                               EightDoubles* misfits) {
  constexpr std::size_t kHalf = kSide / 2;
  const Eight huber = Eight{} + kHuber;
  Four low = {};
  Four high = {};
  for (std::size_t i = 0; i < shown.size(); ++i) {
    const Eight per_noise = EightAt(shown[i].weight.data()).value * per_scale;
    const Eight miss = EightAt(shown[i].level.data()).value - EightAt(values + i * kSide).value;
    const Eight off = (miss < 0.0F ? -miss : miss) * per_noise;
    const Eight square = off > huber ? 2.0F * kHuber * off - kHuber * kHuber : off * off;
    RimMiss& at = (*misses)[i];
    EightAt(at.miss.data()).value = miss;
    EightAt(at.weight.data()).value = per_noise * per_noise * (huber / (off > huber ? off : huber));
    EightFloats squares;
    EightAt(squares.data()).value = square;
    low += __builtin_convertvector(FourAt(squares.data()).value, Four);
    high += __builtin_convertvector(FourAt(squares.data() + kHalf).value, Four);
  }
  FourAt(misfits->data()).value = low;
  FourAt(misfits->data() + kHalf).value = high;
}

// Of a sector's parameter from what is known before.
double OwnMiss(std::size_t which, const SectorVector& own) {
  return which == kGlass || which == kFerrule ? 0.0 : -own[which];
}

double WeightOf(double sigma) { return 1.0 / (sigma * sigma); }

}  // namespace

RimSolver::RimSolver(const RimData& data, RingKind kind, const RimPrior& prior, double noise_scale)
    : data_(data),
      kind_(kind),
      prior_(prior),
      per_scale_(1.0 / noise_scale),
      model_(kind, data),
      rows_(data.Columns()) {
  const std::size_t last = data.sectors.size() - 1;
  for (std::size_t first = 0; first <= last; first += kSide) {
    std::vector<RimShown>& eight = shown_.emplace_back(data.Columns());
    for (std::size_t j = 0; j < kSide; ++j) {
      const RimSector& sector = data.sectors[std::min(first + j, last)];
      for (std::size_t i = 0; i < eight.size(); ++i) {
        eight[i].level[j] = sector.level[i];
        eight[i].weight[j] = first + j <= last ? sector.weight[i] : 0.0F;
      }
    }
  }
  misses_.assign(shown_.size(), std::vector<RimMiss>(data.Columns()));
  reduced_.resize((data.sectors.size() + kFour - 1) / kFour);
}

RimFit RimSolver::Descend(RimFit fit, int rounds) {
  fit.kind = kind_;
  fit.rim = Clamped(fit.rim);
  Normal normal;
  Assess(&fit);
  Linearise(fit, &normal);
  double damping = 1e-2;
  RimFit next;
  for (int round = 0; round < rounds; ++round) {
    bool better = false;
    for (int attempt = 0; attempt < 3 && !better; ++attempt) {
      next = fit;
      if (Step(normal, damping, &next)) {
        Assess(&next);
        better = next.cost < fit.cost;
      }
      if (!better) damping *= 8.0;
    }
    if (!better) break;
    const bool done = fit.cost - next.cost < kEnough * fit.cost;
    std::swap(fit, next);
    if (done || round + 1 == rounds) break;
    damping = std::max(1e-5, 0.15 * damping);
    Linearise(fit, &normal);
  }
  return fit;
}

void RimSolver::Assess(RimFit* fit) {
  fit->cost = 0.0;
  fit->misfits.assign(data_.sectors.size(), 0.0);
  for (std::size_t p = 0; p < kRimCount; ++p) {
    const double miss = prior_.mean[p] - fit->rim[p];
    fit->cost += WeightOf(prior_.sigma[p]) * miss * miss;
  }
  model_.SetRim(fit->rim);
  for (std::size_t s = 0; s < data_.sectors.size(); ++s) {
    for (std::size_t p = 0; p < kSectorCount; ++p) {
      const double miss = OwnMiss(p, fit->sectors[s]);
      fit->misfits[s] += WeightOf(prior_.own_sigma[p]) * miss * miss;
    }
  }
  for (std::size_t eight = 0; eight < shown_.size(); ++eight) {
    EightDoubles misfits;
    WeighMisses(shown_[eight],
                model_.Evaluate(eight, fit->sectors),
                static_cast<float>(per_scale_),
                &misses_[eight],
                &misfits);
    for (std::size_t j = 0; j < kSide && eight * kSide + j < data_.sectors.size(); ++j) {
      double& misfit = fit->misfits[eight * kSide + j];
      misfit += misfits[j];
      fit->cost += misfit;
    }
  }
}

void RimSolver::Conclude(RimFit* fit) {
  Normal normal;
  Assess(fit);
  Linearise(*fit, &normal);
  double log_determinant = 0.0;
  for (std::size_t four = 0; four < reduced_.size(); ++four) {
    const SectorNormals& reduced = reduced_[four];
    if (!Reduce(normal.fours[four], 1.0, &normal.rim, &reduced_[four])) return;
    for (std::size_t j = 0; j < kFour && four * kFour + j < data_.sectors.size(); ++j) {
      double own = 0.0;
      for (std::size_t k = 0; k < kSectorCount; ++k) own += 2.0 * std::log(reduced.own[k][k][j]);
      log_determinant += own;
    }
  }
  if (!Factor(normal.rim.square)) return;
  log_determinant += LogDeterminant(normal.rim.square);
  double log_prior = 0.0;
  for (const double sigma : prior_.sigma) log_prior += 2.0 * std::log(sigma);
  for (const double sigma : prior_.own_sigma) {
    log_prior += 2.0 * std::log(sigma) * static_cast<double>(data_.sectors.size());
  }
  const double misfit = std::accumulate(fit->misfits.begin(), fit->misfits.end(), 0.0);
  fit->complexity = fit->cost - misfit + log_determinant + log_prior;
  const auto variance = [&](RimParameter which) {
    RimVector unit{};
    unit[which] = 1.0;
    Solve(normal.rim.square, unit);
    return unit[which];
  };
  fit->size_variance = variance(kSize);
  fit->shift_variance = std::max(variance(kShiftX), variance(kShiftY));
}

void RimSolver::Linearise(const RimFit& assessed, Normal* normal) {
  normal->rim = {};
  for (std::size_t p = 0; p < kRimCount; ++p) {
    const double weight = WeightOf(prior_.sigma[p]);
    normal->rim.square[p][p] = weight;
    normal->rim.right[p] = weight * (prior_.mean[p] - assessed.rim[p]);
  }
  normal->fours.resize(reduced_.size());
  for (std::size_t four = 0; four < normal->fours.size(); ++four) {
    SectorNormals& part = normal->fours[four];
    part.own = {};
    for (std::size_t p = 0; p < kSectorCount; ++p) {
      const double weight = WeightOf(prior_.own_sigma[p]);
      for (std::size_t j = 0; j < kFour; ++j) {
        const std::size_t s = std::min(four * kFour + j, assessed.sectors.size() - 1);
        part.own[p][p][j] = weight;
        part.right[p][j] = weight * OwnMiss(p, assessed.sectors[s]);
      }
    }
    const std::size_t eight = four / 2;
    if (four % 2 == 0) {
      model_.Differentiate(eight, rows_.data());
      SumRays(rows_, misses_[eight], &sums_);
    }
    AddSums(sums_, model_.ByParameters(eight), four % 2 * kFour, &normal->rim, &part);
  }
}

bool RimSolver::Step(const Normal& normal, double damping, RimFit* fit) {
  RimNormal rim = normal.rim;
  for (std::size_t p = 0; p < kRimCount; ++p) rim.square[p][p] *= 1.0 + damping;
  for (std::size_t four = 0; four < reduced_.size(); ++four) {
    if (!Reduce(normal.fours[four], 1.0 + damping, &rim, &reduced_[four])) return false;
  }
  if (!Factor(rim.square)) return false;
  RimVector step = rim.right;
  Solve(rim.square, step);
  for (std::size_t p = 0; p < kRimCount; ++p) fit->rim[p] += step[p];
  fit->rim = Clamped(fit->rim);
  for (std::size_t four = 0; four < reduced_.size(); ++four) {
    FourOwn own;
    StepSectors(reduced_[four], step, &own);
    for (std::size_t j = 0; j < kFour && four * kFour + j < fit->sectors.size(); ++j) {
      SectorVector& sector = fit->sectors[four * kFour + j];
      for (std::size_t k = 0; k < kSectorCount; ++k) sector[k] += own[k][j];
      sector = locate::Clamped(sector);
    }
  }
  return true;
}

RimVector RimSolver::Clamped(RimVector rim) const {
  const double last = data_.first + data_.pitch * static_cast<double>(data_.Columns());
  const double span = last - data_.first;
  rim[kSize] = std::clamp(rim[kSize], data_.first + 0.05 * span, last - 0.05 * span);
  rim[kLogSigma] = std::clamp(rim[kLogSigma], std::log(0.3), std::log(0.2 * span));
  rim[kTail] = std::clamp(rim[kTail], -0.05, 0.5);
  rim[kLogTone] = std::clamp(rim[kLogTone], std::log(0.8), std::log(2.8));
  rim[kSharpen] = std::clamp(rim[kSharpen], 0.0, 3.0);
  rim[kLogSharpen] =
      std::clamp(rim[kLogSharpen], std::log(0.5 / data_.factor), std::log(4.0 / data_.factor));
  rim[kLogWidth] = std::clamp(rim[kLogWidth], std::log(0.1), std::log(0.5 * span));
  const double apart = std::hypot(rim[kWidthX], rim[kWidthY]);
  if (apart > 0.97) {
    rim[kWidthX] *= 0.97 / apart;
    rim[kWidthY] *= 0.97 / apart;
  }
  rim[kLogDepth] = kind_ == RingKind::kBright ? std::clamp(rim[kLogDepth], kLeastBright, 1.5)
                                              : std::clamp(rim[kLogDepth], -4.0, -kLeastDark);
  return rim;
}

}  // namespace endgrade::locate
