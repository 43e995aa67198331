#include "detect/stroke_chains.h"

#include "detect/direction.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace endgrade {
namespace {

constexpr double kMostGap = 2.2;  // of the wider one's width
constexpr double kNearGap = 1.2;
constexpr double kGapWideUm = 4.0;     // width of the wider of two that are one
constexpr double kMostTurnDeg = 40.0;  // from one to the other, and to the gap between them
constexpr double kEndUm = 8.0;         // over which an end's direction is taken

// One end of a stroke, and the direction in which the stroke leaves it.
struct End {
  cv::Point2d at;
  cv::Point2d outwards;
};

End EndOf(const Stroke& stroke, bool last, double reach) {
  const auto& line = stroke.line;
  const size_t back = std::min(line.size() - 1, static_cast<size_t>(reach));
  if (last) return {line.back(), Unit(line.back() - line[line.size() - 1 - back])};
  return {line.front(), Unit(line.front() - line[back])};
}

// Whether one end goes on in the other. The end of a wide stroke may lie anywhere across it: near
// by, only the strokes' directions tell.
bool GoOn(const End& one, const End& other, double width) {
  static const double least_along = std::cos(kMostTurnDeg * CV_PI / 180.0);
  const cv::Point2d gap = other.at - one.at;
  const double length = std::hypot(gap.x, gap.y);
  if (length > kMostGap * width || -one.outwards.dot(other.outwards) < least_along) return false;
  return length <= kNearGap * width || one.outwards.dot(Unit(gap)) >= least_along;
}

}  // namespace

std::vector<StrokeChain> ChainsOf(const ContrastMap& map, const std::vector<Stroke>& strokes) {
  std::vector<End> ends;
  for (const Stroke& stroke : strokes) {
    for (const bool last : {false, true}) {
      ends.push_back(EndOf(stroke, last, kEndUm / map.um_per_cell));
    }
  }
  // Ends are counted through: twice the stroke's index, and 1 more for its last point.
  std::vector<std::pair<size_t, size_t>> links;
  for (size_t i = 0; i < ends.size(); ++i) {
    for (size_t j = 2 * (i / 2) + 2; j < ends.size(); ++j) {
      const double wider = std::max(strokes[i / 2].width_cells, strokes[j / 2].width_cells);
      if (wider * map.um_per_cell < kGapWideUm) continue;
      if (GoOn(ends[i], ends[j], wider)) links.emplace_back(i, j);
    }
  }
  // Where an end could go on in more than one other, as in a smear, nothing is known.
  constexpr size_t kFree = std::numeric_limits<size_t>::max();
  std::vector<int> choices(ends.size(), 0);
  for (const auto& [one, other] : links) {
    ++choices[one];
    ++choices[other];
  }
  std::vector<size_t> joined(ends.size(), kFree);
  for (const auto& [one, other] : links) {
    if (choices[one] > 1 || choices[other] > 1) continue;
    joined[one] = other;
    joined[other] = one;
  }
  std::vector<StrokeChain> chains;
  std::vector<bool> used(strokes.size(), false);
  const auto walk = [&](size_t end) {  // into the stroke from this end of it, and on
    StrokeChain chain;
    while (end != kFree && !used[end / 2]) {
      const Stroke& stroke = strokes[end / 2];
      used[end / 2] = true;
      chain.strokes.push_back(end / 2);
      chain.width_cells = std::max(chain.width_cells, stroke.width_cells);
      if (end % 2 == 0) {
        chain.line.insert(chain.line.end(), stroke.line.begin(), stroke.line.end());
      } else {
        chain.line.insert(chain.line.end(), stroke.line.rbegin(), stroke.line.rend());
      }
      end = joined[end ^ 1U];
    }
    chains.push_back(std::move(chain));
  };
  for (size_t end = 0; end < ends.size(); ++end) {
    if (joined[end] == kFree && !used[end / 2]) walk(end);
  }
  for (size_t end = 0; end < ends.size(); ++end) {  // what is left are rings
    if (!used[end / 2]) walk(end);
  }
  return chains;
}

}  // namespace endgrade
