// The equations of a rim's least squares: what each sector adds, and how a sector's own parameters
// are taken out of them. Several sectors at a time, side by side: eight of floats, four of doubles.
#pragma once

#include "locate/rim_model.h"

#include <array>
#include <vector>

namespace endgrade::locate {

template <std::size_t kSize, typename Number = double>
using SquareOf = std::array<std::array<Number, kSize>, kSize>;

// What eight sectors' rays show at one place, with its weight: 1 / noise.
struct alignas(32) RimShown {
  EightFloats level, weight;
};

// What they show, less what the model says, with the weight of that.
struct alignas(32) RimMiss {
  EightFloats miss, weight;
};

// Sums along eight rays of what they say about the quantities: weight * derivative * derivative,
// and weight * derivative * miss. Only pairs whose parameters meet in the equations are filled.
struct alignas(32) RaySums {
  SquareOf<kRayCount, EightFloats> square;
  std::array<EightFloats, kRayCount> right;
};
void SumRays(const std::vector<RimRow>& rows, const std::vector<RimMiss>& misses, RaySums* sums);

// Lower halves of symmetric matrices: the rest is never read.
struct RimNormal {
  SquareOf<kRimCount> square;
  RimVector right;
};
inline constexpr std::size_t kFour = 4;
using FourDoubles = std::array<double, kFour>;
using FourOwn = std::array<FourDoubles, kSectorCount>;
struct SectorNormals {
  SquareOf<kSectorCount, FourDoubles> own;
  std::array<FourOwn, kRimCount> cross;
  FourOwn right;
};

// Adds to both. `first` of the eight sectors is the first of the four.
void AddSums(const RaySums& sums,
             const RimPaths& paths,
             std::size_t first,
             RimNormal* rim,
             SectorNormals* sectors);

// Takes the sectors' own parameters out of the rim's equations; the diagonals of `sectors` count
// `damped` times. Leaves the factors of their matrices, and what solves the lower halves, in
// `reduced`. False where a matrix has none.
[[nodiscard]] bool Reduce(const SectorNormals& sectors,
                          double damped,
                          RimNormal* rim,
                          SectorNormals* reduced);

// The sectors' own steps after the rim's has been taken.
void StepSectors(const SectorNormals& reduced, const RimVector& step, FourOwn* own);

}  // namespace endgrade::locate
