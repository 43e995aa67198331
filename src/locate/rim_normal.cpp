#include "locate/rim_normal.h"

#include "core/wide.h"

#include <cmath>
#include <utility>

namespace endgrade::locate {
namespace {

// One sector after the other, so that a sum does not depend on how many are worked on at once.
[[gnu::always_inline]] inline void AddEach(const Four& parts, double* sum) {
  for (std::size_t j = 0; j < kFour; ++j) *sum += parts[j];
}
[[gnu::always_inline]] inline void TakeEach(const Four& parts, double* sum) {
  for (std::size_t j = 0; j < kFour; ++j) *sum -= parts[j];
}

// Of one quantity with some.
template <std::size_t kQuantity, std::size_t... kOthers>
[[gnu::always_inline]] inline void SumPairs(const std::vector<RimRow>& rows,
                                            const std::vector<RimMiss>& misses,
                                            std::index_sequence<kOthers...>,
                                            RaySums* sums) {
  Eight square[kRayCount] = {};
  Eight right = {};
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const auto& by = rows[i].by;
    const Eight scaled =
        EightAt(misses[i].weight.data()).value * EightAt(by[kQuantity].data()).value;
    ((square[kOthers] += scaled * EightAt(by[kOthers].data()).value), ...);
    right += scaled * EightAt(misses[i].miss.data()).value;
  }
  auto& to = sums->square[kQuantity];
  ((EightAt(to[kOthers].data()).value = square[kOthers]), ...);
  EightAt(sums->right[kQuantity].data()).value = right;
}

template <std::size_t... kFirst, std::size_t... kSecond>
constexpr auto Then(std::index_sequence<kFirst...>, std::index_sequence<kSecond...>) {
  return std::index_sequence<kFirst..., kSecond...>();
}

template <std::size_t kFrom, std::size_t... kCount>
constexpr auto Shifted(std::index_sequence<kCount...>) {
  return std::index_sequence<kFrom + kCount...>();
}

template <std::size_t kFrom, std::size_t kTo>
constexpr auto Range() {
  return Shifted<kFrom>(std::make_index_sequence<kTo - kFrom>());
}

// Which others a quantity meets in the equations: what acts through the rim's parameters comes
// before it or is the sectors' as well, and the sectors' own comes before it.
template <std::size_t kQuantity>
constexpr auto Partners() {
  if constexpr (kQuantity < kRayWidth) {
    return Then(Range<0, kQuantity + 1>(), Range<kRayWidth, kRayCount>());
  } else if constexpr (kQuantity < kRayGlass) {
    return Range<0, kRayCount>();
  } else {
    return Range<kRayGlass, kQuantity + 1>();
  }
}

template <std::size_t... kQuantities>
[[gnu::always_inline]] inline void SumAllPairs(const std::vector<RimRow>& rows,
                                               const std::vector<RimMiss>& misses,
                                               std::index_sequence<kQuantities...>,
                                               RaySums* sums) {
  (SumPairs<kQuantities>(rows, misses, Partners<kQuantities>(), sums), ...);
}

}  // namespace

ENDGRADE_WIDE void SumRays(const std::vector<RimRow>& rows,
                           const std::vector<RimMiss>& misses,
                           RaySums* sums) {
  SumAllPairs(rows, misses, Range<0, kRayCount>(), sums);
}

namespace {

// What four sectors say of two parameters.
[[gnu::always_inline]] inline void PartsOf(const RaySums& sums,
                                           const RimPaths& paths,
                                           std::size_t first,
                                           std::size_t a,
                                           std::size_t b,
                                           Four* parts) {
  const auto& pair = sums.square[RimPaths::kThrough[a]][RimPaths::kThrough[b]];
  *parts = FourAt(paths.factor[a].data() + first).value *
           FourAt(paths.factor[b].data() + first).value *
           __builtin_convertvector(FourAt(pair.data() + first).value, Four);
}

[[gnu::always_inline]] inline void RightOf(
    const RaySums& sums, const RimPaths& paths, std::size_t first, std::size_t a, Four* parts) {
  const auto& right = sums.right[RimPaths::kThrough[a]];
  *parts = FourAt(paths.factor[a].data() + first).value *
           __builtin_convertvector(FourAt(right.data() + first).value, Four);
}

}  // namespace

ENDGRADE_WIDE void AddSums(const RaySums& sums,
                           const RimPaths& paths,
                           std::size_t first,
                           RimNormal* rim,
                           SectorNormals* sectors) {
  Four parts;
  for (std::size_t a = 0; a < kRimCount; ++a) {
    for (std::size_t b = 0; b <= a; ++b) {
      PartsOf(sums, paths, first, a, b, &parts);
      AddEach(parts, &rim->square[a][b]);
    }
    for (std::size_t b = 0; b < kSectorCount; ++b) {
      PartsOf(sums, paths, first, a, kRimCount + b, &parts);
      FourAt(sectors->cross[a][b].data()).value = parts;
    }
    RightOf(sums, paths, first, a, &parts);
    AddEach(parts, &rim->right[a]);
  }
  for (std::size_t a = 0; a < kSectorCount; ++a) {
    for (std::size_t b = 0; b <= a; ++b) {
      PartsOf(sums, paths, first, kRimCount + a, kRimCount + b, &parts);
      FourAt(sectors->own[a][b].data()).value += parts;
    }
    RightOf(sums, paths, first, kRimCount + a, &parts);
    FourAt(sectors->right[a].data()).value += parts;
  }
}

namespace {

// Cholesky's factors of four matrices. Not a number where a matrix has none.
[[gnu::always_inline]] inline void FactorOwn(const SquareOf<kSectorCount, FourDoubles>& own,
                                             double damped,
                                             SquareOf<kSectorCount, FourDoubles>* factor) {
  auto& m = *factor;
  for (std::size_t column = 0; column < kSectorCount; ++column) {
    for (std::size_t row = column; row < kSectorCount; ++row) {
      Four sum = FourAt(own[row][column].data()).value;
      if (row == column) sum *= damped;
      for (std::size_t k = 0; k < column; ++k) {
        sum -= FourAt(m[row][k].data()).value * FourAt(m[column][k].data()).value;
      }
      if (row == column) {
        for (std::size_t j = 0; j < kFour; ++j) m[row][row][j] = std::sqrt(sum[j]);
      } else {
        FourAt(m[row][column].data()).value = sum / FourAt(m[column][column].data()).value;
      }
    }
  }
}

[[gnu::always_inline]] inline void SolveLower(const SquareOf<kSectorCount, FourDoubles>& factor,
                                              const FourOwn& right,
                                              FourOwn* solved) {
  for (std::size_t i = 0; i < kSectorCount; ++i) {
    Four sum = FourAt(right[i].data()).value;
    for (std::size_t k = 0; k < i; ++k) {
      sum -= FourAt(factor[i][k].data()).value * FourAt((*solved)[k].data()).value;
    }
    FourAt((*solved)[i].data()).value = sum / FourAt(factor[i][i].data()).value;
  }
}

// The sums over the sectors' own parameters of a * b.
[[gnu::always_inline]] inline void Dot(const FourOwn& a, const FourOwn& b, Four* sum) {
  *sum = FourAt(a[0].data()).value * FourAt(b[0].data()).value;
  for (std::size_t k = 1; k < kSectorCount; ++k) {
    *sum += FourAt(a[k].data()).value * FourAt(b[k].data()).value;
  }
}

ENDGRADE_WIDE void ReduceAll(const SectorNormals& sectors,
                             double damped,
                             RimNormal* rim,
                             SectorNormals* reduced) {
  FactorOwn(sectors.own, damped, &reduced->own);
  SolveLower(reduced->own, sectors.right, &reduced->right);
  Four parts;
  for (std::size_t a = 0; a < kRimCount; ++a) {
    SolveLower(reduced->own, sectors.cross[a], &reduced->cross[a]);
    for (std::size_t b = 0; b <= a; ++b) {
      Dot(reduced->cross[a], reduced->cross[b], &parts);
      TakeEach(parts, &rim->square[a][b]);
    }
    Dot(reduced->cross[a], reduced->right, &parts);
    TakeEach(parts, &rim->right[a]);
  }
}

}  // namespace

bool Reduce(const SectorNormals& sectors, double damped, RimNormal* rim, SectorNormals* reduced) {
  ReduceAll(sectors, damped, rim, reduced);
  for (std::size_t k = 0; k < kSectorCount; ++k) {
    for (const double root : reduced->own[k][k]) {
      if (!(root > 0.0)) return false;
    }
  }
  return true;
}

ENDGRADE_WIDE void StepSectors(const SectorNormals& reduced, const RimVector& step, FourOwn* own) {
  for (std::size_t k = kSectorCount; k-- > 0;) {
    Four sum = FourAt(reduced.right[k].data()).value;
    for (std::size_t a = 0; a < kRimCount; ++a) {
      sum -= FourAt(reduced.cross[a][k].data()).value * step[a];
    }
    for (std::size_t i = k + 1; i < kSectorCount; ++i) {
      sum -= FourAt(reduced.own[i][k].data()).value * FourAt((*own)[i].data()).value;
    }
    FourAt((*own)[k].data()).value = sum / FourAt(reduced.own[k][k].data()).value;
  }
}

}  // namespace endgrade::locate
