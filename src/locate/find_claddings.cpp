#include "locate/find_claddings.h"

#include "locate/coarse_search.h"

#include <algorithm>

namespace endgrade::locate {
namespace {

constexpr int kCoarseSide = 480;      // longest side of the first level that is searched, pixels
constexpr double kFromRadius = 20.0;  // of the circles looked for in one level, its pixels
constexpr double kToRadius = 42.0;
constexpr double kThinRingRadius =
    84.0;                             // up to which thin rings are looked for in the first level
constexpr double kConvincing = 0.75;  // score beyond which no finer level is searched

void SearchLevel(const Level& level,
                 double from_radius,
                 double to_radius,
                 std::vector<Ring>* rings) {
  CoarseSearch search;
  search.from_radius = from_radius;
  search.to_radius = to_radius;
  for (const auto& guess : VoteForCircles(level, search)) {
    if (const auto ring = FitRing(level, guess, 0.2, Care::kQuick)) rings->push_back(*ring);
  }
}

// Levels finest first, each half as fine as the one before.
std::vector<Level> Halvings(Level first) {
  std::vector<Level> levels = {std::move(first)};
  while (std::min(levels.back().image.cols, levels.back().image.rows) >= 48) {
    levels.push_back(HalveLevel(levels.back()));
  }
  return levels;
}

bool Doubtful(const Cladding& cladding) {
  return (cladding.dark_outside || cladding.line) && !cladding.has_core;
}

}  // namespace

std::vector<Cladding> FindCladdings(const cv::Mat& luma,
                                    double white_level,
                                    double least_radius_px) {
  const cv::Rect whole({0, 0}, luma.size());
  const int longest = std::max(whole.width, whole.height);
  int factor = std::max(1, (longest + kCoarseSide - 1) / kCoarseSide);
  std::vector<Level> levels = Halvings(MakeLevel(luma, white_level, whole, factor));
  std::vector<Ring> rings;
  for (const Level& level : levels) SearchLevel(level, kFromRadius, kToRadius, &rings);
  std::vector<Cladding> found = ChooseCladding(luma, white_level, levels, rings);
  const auto doubtful = [&] {
    return found.empty() || Doubtful(found.front()) || found.front().score < kConvincing;
  };
  // Between glass and ferrule of one brightness there is only a thin ring, which a level coarse
  // enough for its circle to be small no longer shows.
  if (doubtful()) {
    SearchLevel(levels.front(), kToRadius, kThinRingRadius, &rings);
    found = ChooseCladding(luma, white_level, levels, rings);
  }
  while (factor > 1 && kFromRadius * factor > least_radius_px && doubtful()) {
    const int finer = std::max(1, factor / 2);
    const double to_radius = 1.05 * kFromRadius * factor / finer;
    factor = finer;
    levels.insert(levels.begin(), MakeLevel(luma, white_level, whole, factor));
    SearchLevel(levels.front(), kFromRadius, to_radius, &rings);
    found = ChooseCladding(luma, white_level, levels, rings);
  }
  return found;
}

}  // namespace endgrade::locate
