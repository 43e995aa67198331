#include "detect/sharpening.h"

#include "flatten/cell_grid.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr double kBinUm = 0.25;
constexpr double kGlassUm = 9.0;     // how far inside the rim the profile begins
constexpr double kPlateauUm = 5.0;   // further inside than this is the glass's own level
constexpr double kOutsideUm = 3.0;   // how far outside the rim the edge's height is looked for
constexpr size_t kLeastCells = 12;   // a bin
constexpr double kLeastStep = 0.05;  // of the glass: a lower edge tells nothing
constexpr double kLeastShare = 0.12;
constexpr double kMostShare = 0.42;
constexpr double kPerFringe = 1.3;  // a small feature's fringe over the rim's: our choice

// Median brightness by distance from the rim, from kGlassUm inside to kOutsideUm outside.
std::vector<float> ProfileAcrossRim(const ContrastMap& map) {
  const auto count = static_cast<size_t>((kGlassUm + kOutsideUm) / kBinUm);
  std::vector<std::vector<float>> bins(count);
  const double from = map.cladding_radius_um - kGlassUm;
  const auto nearest = static_cast<float>(from - kBinUm);
  const auto furthest = static_cast<float>(from + kGlassUm + kOutsideUm + kBinUm);
  // From cell to cell the distance from the centre changes by no more than the cell's width.
  const float cells_per_um =
      0.99F / static_cast<float>(std::hypot(map.um_from_cell(0, 0), map.um_from_cell(1, 0)));
  for (int y = 0; y < map.level.rows; ++y) {
    const auto* radius = map.radius_um.ptr<float>(y);
    const auto* level = map.level.ptr<float>(y);
    for (int x = 0; x < map.level.cols; ++x) {
      if (radius[x] < nearest || radius[x] > furthest) {
        const float away = std::max(nearest - radius[x], radius[x] - furthest);
        x += static_cast<int>(away * cells_per_um);
        continue;
      }
      const double bin = (static_cast<double>(radius[x]) - from) / kBinUm;
      if (bin < 0 || bin >= static_cast<double>(count)) continue;
      bins[static_cast<size_t>(bin)].push_back(level[x]);
    }
  }
  std::vector<float> profile;
  for (auto& bin : bins) {
    if (bin.size() >= kLeastCells) {
      profile.push_back(MedianOf(bin));
    } else {
      profile.push_back(profile.empty() ? static_cast<float>(map.glass_level) : profile.back());
    }
  }
  return profile;
}

}  // namespace

double FringeShare(const ContrastMap& map) {
  const std::vector<float> profile = ProfileAcrossRim(map);
  const auto plateau_end = static_cast<size_t>((kGlassUm - kPlateauUm) / kBinUm);
  const auto rim = static_cast<size_t>(kGlassUm / kBinUm);
  std::vector<float> inside(profile.begin(),
                            profile.begin() + static_cast<std::ptrdiff_t>(plateau_end));
  const float plateau = MedianOf(inside);
  float step = 0;
  for (size_t i = rim; i < profile.size(); ++i) {
    if (std::abs(profile[i] - plateau) > std::abs(step)) step = profile[i] - plateau;
  }
  if (std::abs(step) < static_cast<float>(kLeastStep * map.glass_level)) return kLeastShare;
  float fringe = 0;
  for (size_t i = plateau_end; i < rim; ++i) {
    fringe = std::max(fringe, (profile[i] - plateau) / -step);
  }
  return std::clamp(
      kLeastShare + kPerFringe * static_cast<double>(fringe), kLeastShare, kMostShare);
}

}  // namespace endgrade
