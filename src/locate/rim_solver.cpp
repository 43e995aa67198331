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

// Sums over one ray's values of what they say about the quantities.
struct RayNormal {
  std::array<std::array<float, kRayCount>, kRayCount> square{};
  std::array<float, kRayCount> right{};
  double misfit = 0;
};

constexpr std::size_t kRowsAtOnce = 3;  // as many sums fit into sixteen registers of four floats
// In the room that the rows leave: what the model misses, and the weight of that.
constexpr std::size_t kMissPlace = kRayCount;
constexpr std::size_t kWeightPlace = kRayCount + 1;
static_assert(kRayCount % kRowsAtOnce == 0 && kWeightPlace < SectorModel::kRowRoom);

// Sums of weight * row * row', and of weight * row * miss.
ENDGRADE_WIDE void SumRows(const std::vector<SectorModel::Row>& rows, RayNormal* sums) {
  for (std::size_t first = 0; first < kRayCount; first += kRowsAtOnce) {
    Eight low[kRowsAtOnce] = {};
    Eight high[kRowsAtOnce] = {};
    for (const SectorModel::Row& row : rows) {
      const float* by = row.by.data();
      for (std::size_t a = 0; a < kRowsAtOnce; ++a) {
        const float scaled = by[kWeightPlace] * by[first + a];
        low[a] += scaled * EightAt(by).value;
        high[a] += scaled * EightAt(by + 8).value;
      }
    }
    for (std::size_t a = 0; a < kRowsAtOnce; ++a) {
      auto& square = sums->square[first + a];
      for (std::size_t b = 0; b < 8; ++b) square[b] = low[a][b];
      for (std::size_t b = 8; b < kRayCount; ++b) square[b] = high[a][b - 8];
      sums->right[first + a] = high[a][kMissPlace - 8];
    }
  }
}

// Subtracts cross * cross' from the rim's matrix; its upper half is never read.
ENDGRADE_WIDE void TakeOut(const std::array<SectorVector, kRimCount>& cross,
                           std::array<std::array<double, kRimCount>, kRimCount>* rim) {
  constexpr std::size_t kPadded = 16;
  double turned[kSectorCount][kPadded] = {};
  for (std::size_t a = 0; a < kRimCount; ++a) {
    for (std::size_t k = 0; k < kSectorCount; ++k) turned[k][a] = cross[a][k];
  }
  for (std::size_t a = 0; a < kRimCount; ++a) {
    double sum[kPadded] = {};
    for (std::size_t k = 0; k < kSectorCount; ++k) {
      for (std::size_t b = 0; b < kPadded; ++b) sum[b] += turned[k][a] * turned[k][b];
    }
    for (std::size_t b = 0; b < kRimCount; ++b) (*rim)[a][b] -= sum[b];
  }
}

RayNormal SumRay(const RimSector& sector, float per_scale, SectorModel* model) {
  RayNormal sums;
  const auto& values = model->values();
  for (std::size_t i = 0; i < values.size(); ++i) {
    const float per_noise = sector.weight[i] * per_scale;
    const float miss = sector.level[i] - values[i];
    const float off = std::abs(miss) * per_noise;
    float weight = per_noise * per_noise;
    float square = off * off;
    if (off > kHuber) {
      square = 2.0F * kHuber * off - kHuber * kHuber;
      weight *= kHuber / off;
    }
    sums.misfit += static_cast<double>(square);
    SectorModel::Row& row = model->rows()[i];
    row.by[kMissPlace] = miss;
    row.by[kWeightPlace] = weight;
  }
  SumRows(model->rows(), &sums);
  return sums;
}

}  // namespace

RimSolver::RimSolver(const RimData& data, RingKind kind, const RimPrior& prior, double noise_scale)
    : data_(data), kind_(kind), prior_(prior), per_scale_(1.0 / noise_scale), model_(kind, data) {}

RimFit RimSolver::Descend(RimFit fit, int rounds) {
  fit.kind = kind_;
  fit.rim = Clamped(fit.rim);
  Normal normal;
  Linearise(&fit, &normal);
  double damping = 1e-2;
  Normal there;
  for (int round = 0; round < rounds; ++round) {
    bool better = false;
    for (int attempt = 0; attempt < 3 && !better; ++attempt) {
      RimFit next = fit;
      if (Step(normal, damping, &next)) {
        Linearise(&next, &there);
        better = next.cost < fit.cost;
      }
      if (!better) {
        damping *= 8.0;
        continue;
      }
      const bool done = fit.cost - next.cost < kEnough * fit.cost;
      std::swap(fit, next);
      std::swap(normal, there);
      damping = std::max(1e-5, 0.15 * damping);
      if (done) return fit;
    }
    if (!better) break;
  }
  return fit;
}

void RimSolver::Assess(RimFit* fit) {
  Normal normal;
  Linearise(fit, &normal);
}

void RimSolver::Conclude(RimFit* fit) {
  Normal normal;
  Linearise(fit, &normal);
  double log_determinant = 0.0;
  for (SectorNormal& sector : normal.sectors) {
    if (!Reduce(&sector, &normal.rim, nullptr)) return;
    log_determinant += LogDeterminant(sector.own);
  }
  if (!Factor(normal.rim)) return;
  log_determinant += LogDeterminant(normal.rim);
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
    Solve(normal.rim, unit);
    return unit[which];
  };
  fit->size_variance = variance(kSize);
  fit->shift_variance = std::max(variance(kShiftX), variance(kShiftY));
}

// Sets the cost of `fit` and the normal equations about it.
void RimSolver::Linearise(RimFit* fit, Normal* normal) {
  normal->rim = {};
  normal->right = {};
  normal->sectors.assign(data_.sectors.size(), {});
  fit->cost = 0.0;
  fit->misfits.assign(data_.sectors.size(), 0.0);
  for (std::size_t p = 0; p < kAll; ++p) {
    const double weight = 1.0 / (prior_.sigma[p] * prior_.sigma[p]);
    const double miss = prior_.mean[p] - fit->rim[p];
    normal->rim[p][p] += weight;
    normal->right[p] += weight * miss;
    fit->cost += weight * miss * miss;
  }
  for (std::size_t s = 0; s < data_.sectors.size(); ++s) AddSector(s, fit, normal);
}

void RimSolver::AddSector(std::size_t index, RimFit* fit, Normal* normal) {
  const RimSector& sector = data_.sectors[index];
  const SectorVector& own = fit->sectors[index];
  SectorNormal& part = normal->sectors[index];
  double misfit = 0.0;
  for (std::size_t p = 0; p < kOwn; ++p) {
    const double weight = 1.0 / (prior_.own_sigma[p] * prior_.own_sigma[p]);
    const double miss = p == kGlass || p == kFerrule ? 0.0 : -own[p];
    part.own[p][p] += weight;
    part.right[p] += weight * miss;
    misfit += weight * miss * miss;
  }
  model_.Evaluate(fit->rim, own, sector.cos_t, sector.sin_t);
  const RayNormal sums = SumRay(sector, static_cast<float>(per_scale_), &model_);
  misfit += sums.misfit;
  fit->misfits[index] = misfit;
  fit->cost += misfit;
  const SectorModel::Paths paths = model_.ByParameters();
  for (std::size_t a = 0; a < kAll; ++a) {
    const RayQuantity through = paths[a].through;
    const double factor = paths[a].factor;
    if (factor == 0.0) continue;
    const auto& square = sums.square[through];
    const auto times = [&](const SectorModel::Path& other) {
      return factor * other.factor * static_cast<double>(square[other.through]);
    };
    for (std::size_t b = 0; b <= a; ++b) normal->rim[a][b] += times(paths[b]);
    for (std::size_t b = 0; b < kOwn; ++b) part.cross[a][b] += times(paths[kAll + b]);
    normal->right[a] += factor * static_cast<double>(sums.right[through]);
  }
  for (std::size_t a = 0; a < kOwn; ++a) {
    const auto& [through, factor] = paths[kAll + a];
    for (std::size_t b = 0; b <= a; ++b) {
      const auto& other = paths[kAll + b];
      part.own[a][b] +=
          factor * other.factor * static_cast<double>(sums.square[through][other.through]);
    }
    part.right[a] += factor * static_cast<double>(sums.right[through]);
  }
}

// Takes a sector's own parameters out of the rim's equations. Leaves the factor of its matrix, and
// what solves its lower half, in `sector`.
bool RimSolver::Reduce(SectorNormal* sector, Square<kAll>* rim, RimVector* right) {
  if (!Factor(sector->own)) return false;
  for (SectorVector& row : sector->cross) SolveLower(sector->own, row);
  SolveLower(sector->own, sector->right);
  TakeOut(sector->cross, rim);
  if (right == nullptr) return true;
  for (std::size_t a = 0; a < kAll; ++a) {
    double sum = 0.0;
    for (std::size_t k = 0; k < kOwn; ++k) sum += sector->cross[a][k] * sector->right[k];
    (*right)[a] -= sum;
  }
  return true;
}

bool RimSolver::Step(Normal normal, double damping, RimFit* fit) const {
  for (std::size_t p = 0; p < kAll; ++p) normal.rim[p][p] *= 1.0 + damping;
  for (SectorNormal& sector : normal.sectors) {
    for (std::size_t p = 0; p < kOwn; ++p) sector.own[p][p] *= 1.0 + damping;
    if (!Reduce(&sector, &normal.rim, &normal.right)) return false;
  }
  if (!Factor(normal.rim)) return false;
  RimVector step = normal.right;
  Solve(normal.rim, step);
  for (std::size_t p = 0; p < kAll; ++p) fit->rim[p] += step[p];
  fit->rim = Clamped(fit->rim);
  for (std::size_t s = 0; s < normal.sectors.size(); ++s) {
    const SectorNormal& sector = normal.sectors[s];
    SectorVector own = sector.right;
    for (std::size_t k = 0; k < kOwn; ++k) {
      for (std::size_t a = 0; a < kAll; ++a) own[k] -= sector.cross[a][k] * step[a];
    }
    for (std::size_t k = kOwn; k-- > 0;) {
      for (std::size_t i = k + 1; i < kOwn; ++i) own[k] -= sector.own[i][k] * own[i];
      own[k] /= sector.own[k][k];
    }
    for (std::size_t k = 0; k < kOwn; ++k) fit->sectors[s][k] += own[k];
    fit->sectors[s] = locate::Clamped(fit->sectors[s]);
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
