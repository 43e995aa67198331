#include "detect/gather.h"

#include "detect/direction.h"
#include "detect/line_shape.h"
#include "detect/line_trace.h"
#include "detect/lines_along.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <optional>

namespace endgrade {
namespace {

constexpr double kDegrees = 180.0 / CV_PI;

// One end of a line, and the direction in which the line leaves it, outwards.
struct End {
  cv::Point2d at;
  cv::Point2d outwards;
};

// Both ends, their directions taken over the last `reach` cells.
std::array<End, 2> EndsOf(const Region& line, double reach) {
  const std::vector<cv::Point2d> points = Resample(line.spine, 1.0);
  const size_t back = std::min(points.size() - 1, static_cast<size_t>(std::max(2.0, reach)));
  return {End{points.front(), Unit(points.front() - points[back])},
          End{points.back(), Unit(points.back() - points[points.size() - 1 - back])}};
}

// --- cracks

constexpr double kMeetUm = 4.0;
constexpr double kLeastKinkDeg = 18.0;  // less is a scratch that bends
constexpr double kMostKinkDeg = 120.0;

// The legs of a crack are alike. Where a scratch ends beside another, or a short piece of it was
// followed askew, they are not.
constexpr double kLikeLegs = 3.0;       // ratio of depths
constexpr double kLikeLegWidths = 2.0;  // ratio, where the widths are surely unlike
constexpr double kLeastLegShare = 0.2;  // of the longer leg
constexpr double kLeastLegUm = 20.0;    // long enough by itself

bool AreLegs(const ContrastMap& map, const Region& a, const Region& b) {
  const double low = std::min(std::abs(a.depth), std::abs(b.depth));
  const double high = std::max(std::abs(a.depth), std::abs(b.depth));
  if (a.depth * b.depth < 0 || high > kLikeLegs * low) return false;
  const double narrow = std::min(a.line_width_cells, b.line_width_cells);
  const double wide = std::max(a.line_width_cells, b.line_width_cells);
  const double unsure = std::hypot(a.line_width_uncertainty_cells, b.line_width_uncertainty_cells);
  if (wide > kLikeLegWidths * narrow && wide - narrow > unsure) return false;
  const double one = LengthOf(a.spine);
  const double other = LengthOf(b.spine);
  const double shorter = std::min(one, other);
  return shorter * map.um_per_cell >= kLeastLegUm ||
         shorter >= kLeastLegShare * std::max(one, other);
}

bool MeetAtAKink(const ContrastMap& map, const Region& a, const Region& b) {
  if (!AreLegs(map, a, b)) return false;
  const double reach = 8.0 / map.um_per_cell;
  for (const End& p : EndsOf(a, reach)) {
    for (const End& q : EndsOf(b, reach)) {
      const cv::Point2d gap = p.at - q.at;
      if (std::hypot(gap.x, gap.y) * map.um_per_cell > kMeetUm) continue;
      const double kink = std::acos(std::clamp(-p.outwards.dot(q.outwards), -1.0, 1.0)) * kDegrees;
      if (kink >= kLeastKinkDeg && kink <= kMostKinkDeg) return true;
    }
  }
  return false;
}

void Absorb(const Region& from, Region* into) {
  into->cells.insert(into->cells.end(), from.cells.begin(), from.cells.end());
  into->snr = std::max(into->snr, from.snr);
  if (std::abs(from.depth) > std::abs(into->depth)) {
    into->depth = from.depth;
    into->peak = from.peak;
  }
}

// The border of a region that was a line: its cells, which end at half height.
void AsDefect(Region* region) {
  std::sort(region->cells.begin(), region->cells.end(), [](cv::Point a, cv::Point b) {
    return a.y != b.y ? a.y < b.y : a.x < b.x;
  });
  region->cells.erase(std::unique(region->cells.begin(), region->cells.end()), region->cells.end());
  region->is_line = false;
  region->edge.assign(region->cells.begin(), region->cells.end());
}

// --- dashes

constexpr double kLeastElongation = 1.8;
constexpr double kLeastDashUm = 3.0;
constexpr double kSameDirectionDeg = 12.0;
constexpr double kMostGap = 1.6;     // of the longer one's length
constexpr double kMostGapUm = 25.0;  // whatever the length
constexpr double kLikeWidth = 2.0;   // ratio of widths
constexpr double kLikeDepth = 3.0;   // ratio of depths
constexpr size_t kLeastInARow = 3;
// Two will do where they are as like as halves of one.
constexpr double kPairElongation = 3.0;
constexpr double kPairLikeWidth = 1.4;
constexpr double kPairLikeDepth = 1.5;
constexpr double kPairTurnDeg = 6.0;
constexpr double kPairMostGap = 0.5;     // of the longer one's length
constexpr double kPairMostOff = 0.35;    // of the wider one's width, and a cell
constexpr double kMostLineGapUm = 15.0;  // between two lines that are one

// A straight piece: a region's own axes, in cells.
struct Dash {
  size_t index = 0;
  cv::Point2d middle;
  cv::Point2d along;
  double length = 0;
  double width = 0;
  double depth = 0;
};

Dash DashOf(const Region& region, size_t index) {
  const cv::Moments m = [&] {
    std::vector<cv::Point2f> points(region.cells.begin(), region.cells.end());
    cv::Moments sums;
    double sx = 0, sy = 0;
    for (const auto& p : points) {
      sx += static_cast<double>(p.x);
      sy += static_cast<double>(p.y);
    }
    const auto n = static_cast<double>(points.size());
    sums.m00 = n;
    sums.m10 = sx / n;
    sums.m01 = sy / n;
    for (const auto& p : points) {
      const double dx = static_cast<double>(p.x) - sums.m10;
      const double dy = static_cast<double>(p.y) - sums.m01;
      sums.mu20 += dx * dx / n;
      sums.mu02 += dy * dy / n;
      sums.mu11 += dx * dy / n;
    }
    return sums;
  }();
  const double half = 0.5 * (m.mu20 + m.mu02);
  const double root = std::hypot(0.5 * (m.mu20 - m.mu02), m.mu11);
  const double angle = 0.5 * std::atan2(2.0 * m.mu11, m.mu20 - m.mu02);
  Dash dash;
  dash.index = index;
  dash.middle = {m.m10, m.m01};
  dash.along = {std::cos(angle), std::sin(angle)};
  // Of a uniform rectangle: side = sqrt(12 variance); a cell of its own adds 1/12.
  dash.length = std::sqrt(12.0 * (half + root) + 1.0);
  dash.width = std::sqrt(12.0 * std::max(0.0, half - root) + 1.0);
  dash.depth = region.depth;
  return dash;
}

double Ratio(double a, double b) {
  const double low = std::min(std::abs(a), std::abs(b));
  return low > 0 ? std::max(std::abs(a), std::abs(b)) / low : 1e9;
}

// How far b lies off the straight line through a, and the free run between their ends.
bool InARow(const ContrastMap& map, const Dash& a, const Dash& b) {
  if (a.depth * b.depth < 0 || Ratio(a.width, b.width) > kLikeWidth) return false;
  if (Ratio(a.depth, b.depth) > kLikeDepth) return false;
  const double turn = std::acos(std::min(1.0, std::abs(a.along.dot(b.along)))) * kDegrees;
  if (turn > kSameDirectionDeg) return false;
  const cv::Point2d apart = b.middle - a.middle;
  const double distance = std::hypot(apart.x, apart.y);
  const double gap = distance - 0.5 * (a.length + b.length);
  const double most =
      std::min(kMostGapUm / map.um_per_cell, kMostGap * std::max(a.length, b.length));
  if (gap > most || gap < -0.3 * std::min(a.length, b.length)) return false;
  const auto off = [&](const Dash& d) {
    return std::abs(apart.x * d.along.y - apart.y * d.along.x);
  };
  const double allowed = 0.5 * std::max(a.width, b.width) + 0.08 * distance;
  return off(a) < allowed && off(b) < allowed;
}

bool IsPair(const Dash& a, const Dash& b) {
  if (a.length < kPairElongation * a.width || b.length < kPairElongation * b.width) return false;
  if (Ratio(a.width, b.width) > kPairLikeWidth || Ratio(a.depth, b.depth) > kPairLikeDepth) {
    return false;
  }
  const double turn = std::acos(std::min(1.0, std::abs(a.along.dot(b.along)))) * kDegrees;
  const cv::Point2d apart = b.middle - a.middle;
  const double distance = std::hypot(apart.x, apart.y);
  const double gap = distance - 0.5 * (a.length + b.length);
  const double off = std::max(std::abs(apart.x * a.along.y - apart.y * a.along.x),
                              std::abs(apart.x * b.along.y - apart.y * b.along.x));
  return turn <= kPairTurnDeg && gap <= kPairMostGap * std::max(a.length, b.length) &&
         off <= kPairMostOff * std::max(a.width, b.width) + 1.0;
}

// A line's outer stretch as a dash, to hold pieces beyond it against.
Dash StretchAt(const ContrastMap& map, const Region& line, const End& end) {
  Dash dash;
  dash.along = end.outwards;
  dash.length = std::min(12.0 / map.um_per_cell, 0.5 * static_cast<double>(line.spine.size()));
  dash.length = std::max(dash.length, 6.0 / map.um_per_cell);
  dash.middle = end.at - end.outwards * (0.5 * dash.length);
  dash.width = std::hypot(line.line_width_cells, 2.0 * map.blur_sigma_cells) + 1.0;
  dash.depth = line.depth;
  return dash;
}

double EnclosedWidth(const Dash& dash, double blur) {
  return std::sqrt(std::max(0.1, dash.width * dash.width - 4.0 * blur * blur));
}

// One line of dashes in a row.
Region RowAsLine(const ContrastMap& map,
                 const std::vector<Dash>& row,
                 const std::vector<Region>& regions) {
  // From the first to the last along their common direction.
  const cv::Point2d along = Unit(row.back().middle - row.front().middle);
  std::vector<Dash> ordered = row;
  std::sort(ordered.begin(), ordered.end(), [&](const Dash& a, const Dash& b) {
    return a.middle.dot(along) < b.middle.dot(along);
  });
  Region line = regions[ordered.front().index];
  line.is_line = true;
  line.edge.clear();
  line.spine = {ordered.front().middle - along * (0.5 * ordered.front().length)};
  double sum = 0, square = 0, snr = 0;
  for (const Dash& dash : ordered) {
    line.spine.push_back(dash.middle);
    const double width = EnclosedWidth(dash, map.blur_sigma_cells);
    sum += width;
    square += width * width;
    snr = std::hypot(snr, regions[dash.index].snr);
    if (dash.index != ordered.front().index) Absorb(regions[dash.index], &line);
  }
  line.spine.push_back(ordered.back().middle + along * (0.5 * ordered.back().length));
  const auto n = static_cast<double>(ordered.size());
  line.line_width_cells = sum / n;
  const double spread = std::sqrt(std::max(0.0, square / n - sum / n * (sum / n)));
  line.line_width_uncertainty_cells = 2.0 * std::hypot(spread, 0.5);
  line.snr = snr;
  return line;
}

std::vector<Dash> DashesOf(const ContrastMap& map, const std::vector<Region>& regions) {
  std::vector<Dash> dashes;
  for (size_t i = 0; i < regions.size(); ++i) {
    const Dash dash = DashOf(regions[i], i);
    if (dash.length < kLeastElongation * dash.width) continue;
    if (dash.length * map.um_per_cell < kLeastDashUm) continue;
    dashes.push_back(dash);
  }
  return dashes;
}

template <typename T>
void EraseMarked(const std::vector<bool>& gone, std::vector<T>* values) {
  size_t kept = 0;
  for (size_t i = 0; i < values->size(); ++i) {
    if (gone[i]) continue;
    if (kept != i) (*values)[kept] = std::move((*values)[i]);
    ++kept;
  }
  values->resize(kept);
}

// Whether `b` goes on where `a` stops; if so, their facing ends.
std::optional<std::pair<size_t, size_t>> GoesOn(const ContrastMap& map,
                                                const Region& a,
                                                const Region& b) {
  const auto ends_a = EndsOf(a, 12.0 / map.um_per_cell);
  const auto ends_b = EndsOf(b, 12.0 / map.um_per_cell);
  for (size_t i = 0; i < 2; ++i) {
    for (size_t j = 0; j < 2; ++j) {
      const cv::Point2d gap = ends_b[j].at - ends_a[i].at;
      if (std::hypot(gap.x, gap.y) * map.um_per_cell > kMostLineGapUm) continue;
      if (ends_a[i].outwards.dot(ends_b[j].outwards) > 0) continue;
      if (InARow(map, StretchAt(map, a, ends_a[i]), StretchAt(map, b, ends_b[j]))) {
        return std::make_pair(i, j);
      }
    }
  }
  return std::nullopt;
}

// Joins lines that were cut by others across them, or that fade and come back.
void JoinLines(const ContrastMap& map, std::vector<Region>* lines) {
  std::vector<bool> gone(lines->size(), false);
  for (size_t i = 0; i < lines->size(); ++i) {
    for (size_t j = 0; j < lines->size(); ++j) {
      if (j == i || gone[i] || gone[j]) continue;
      Region& a = (*lines)[i];
      Region& b = (*lines)[j];
      const auto ends = GoesOn(map, a, b);
      if (!ends) continue;
      std::vector<cv::Point2d> rest = b.spine;
      if (ends->first == 0) std::reverse(a.spine.begin(), a.spine.end());
      if (ends->second == 1) std::reverse(rest.begin(), rest.end());
      // The longer piece is measured better.
      if (rest.size() > a.spine.size()) {
        a.line_width_cells = b.line_width_cells;
        a.line_width_uncertainty_cells = b.line_width_uncertainty_cells;
      }
      a.spine.insert(a.spine.end(), rest.begin(), rest.end());
      Absorb(b, &a);
      gone[j] = true;
      j = static_cast<size_t>(-1);  // from the new ends, all over again
    }
  }
  EraseMarked(gone, lines);
}

// Lets lines take in the pieces beyond their ends, one after the other.
void ExtendLines(const ContrastMap& map,
                 const std::vector<Dash>& dashes,
                 const std::vector<Region>& regions,
                 std::vector<Region>* lines,
                 std::vector<bool>* taken) {
  for (Region& line : *lines) {
    for (size_t i = 0; i < dashes.size(); ++i) {
      if ((*taken)[dashes[i].index]) continue;
      const auto ends = EndsOf(line, 12.0 / map.um_per_cell);
      for (size_t e = 0; e < 2; ++e) {
        const Dash stretch = StretchAt(map, line, ends[e]);
        if ((dashes[i].middle - ends[e].at).dot(ends[e].outwards) <= 0) continue;
        if (!InARow(map, stretch, dashes[i])) continue;
        const cv::Point2d tip = dashes[i].middle + ends[e].outwards * (0.5 * dashes[i].length);
        if (e == 0) {
          line.spine.insert(line.spine.begin(), tip);
        } else {
          line.spine.push_back(tip);
        }
        const double depth = line.depth;
        Absorb(regions[dashes[i].index], &line);
        line.depth = depth;
        (*taken)[dashes[i].index] = true;
        i = static_cast<size_t>(-1);  // from the new end, all over again
        break;
      }
    }
  }
}

}  // namespace

bool HasSequel(const ContrastMap& map, const std::vector<Region>& lines, size_t which) {
  for (size_t i = 0; i < lines.size(); ++i) {
    if (i != which && GoesOn(map, lines[which], lines[i])) return true;
  }
  return false;
}

// Whether several others run the way it does: of two families that cross some end on one another.
bool IsOfAFamily(const std::vector<Region>& lines, const Region& line) {
  return LinesAlong(lines, Unit(line.spine.back() - line.spine.front())) - 1 >= kFamily;
}

void JoinKinks(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions) {
  const size_t count = lines->size();
  std::vector<size_t> group(count);
  std::iota(group.begin(), group.end(), size_t{0});
  std::vector<bool> kinked(count, false);
  for (size_t i = 0; i < count; ++i) {
    for (size_t j = i + 1; j < count; ++j) {
      if (!MeetAtAKink(map, (*lines)[i], (*lines)[j])) continue;
      if (IsOfAFamily(*lines, (*lines)[i]) && IsOfAFamily(*lines, (*lines)[j])) continue;
      kinked[i] = kinked[j] = true;
      const size_t from = std::max(group[i], group[j]);
      const size_t to = std::min(group[i], group[j]);
      for (size_t& g : group) g = g == from ? to : g;
    }
  }
  for (size_t i = 0; i < count; ++i) {
    if (!kinked[i] || group[i] != i) continue;
    Region crack = (*lines)[i];
    for (size_t j = i + 1; j < count; ++j) {
      if (kinked[j] && group[j] == i) Absorb((*lines)[j], &crack);
    }
    AsDefect(&crack);
    regions->push_back(std::move(crack));
  }
  EraseMarked(kinked, lines);
}

void JoinDashes(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions) {
  JoinLines(map, lines);
  const std::vector<Dash> dashes = DashesOf(map, *regions);
  std::vector<bool> taken(regions->size(), false);
  ExtendLines(map, dashes, *regions, lines, &taken);
  for (size_t i = 0; i < dashes.size(); ++i) {
    if (taken[dashes[i].index]) continue;
    std::vector<Dash> row = {dashes[i]};
    std::vector<bool> used(dashes.size(), false);
    used[i] = true;
    for (size_t k = 0; k < row.size(); ++k) {
      for (size_t j = 0; j < dashes.size(); ++j) {
        if (used[j] || taken[dashes[j].index] || !InARow(map, row[k], dashes[j])) continue;
        // In a row with the whole of it, not just with its neighbour.
        const cv::Point2d apart = dashes[j].middle - row.front().middle;
        const cv::Point2d along = row.front().along;
        const double off = std::abs(apart.x * along.y - apart.y * along.x);
        if (off > dashes[j].width + 0.15 * std::hypot(apart.x, apart.y)) continue;
        used[j] = true;
        row.push_back(dashes[j]);
      }
    }
    if (row.size() < kLeastInARow && !(row.size() == 2 && IsPair(row[0], row[1]))) continue;
    for (const Dash& dash : row) taken[dash.index] = true;
    lines->push_back(RowAsLine(map, row, *regions));
  }
  EraseMarked(taken, regions);
}

void JoinFlanks(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions) {
  constexpr double kLeastSlender = 3.0;
  constexpr double kLeastShare = 0.5;  // of the line's length
  constexpr double kMostApartUm = 1.0;
  constexpr double kWidestFlankUm = 6.0;
  // A shorter piece may be anything that lies beside a scratch, unless it is as deep and as
  // straight.
  constexpr double kPieceLeastUm = 8.0;
  constexpr double kPieceLeastSlender = 2.0;
  constexpr double kPieceLikeDepth = 2.2;
  std::vector<bool> taken(regions->size(), false);
  std::vector<Dash> dashes;
  if (!lines->empty()) {
    for (size_t i = 0; i < regions->size(); ++i) dashes.push_back(DashOf((*regions)[i], i));
  }
  for (Region& line : *lines) {
    const std::vector<cv::Point2d> spine = Resample(line.spine, 1.0);
    for (size_t i = 0; i < regions->size(); ++i) {
      const Region& region = (*regions)[i];
      if (taken[i] || region.cells.size() < 12) continue;
      const Dash& dash = dashes[i];
      const auto length = static_cast<double>(spine.size());
      const bool whole =
          dash.length >= kLeastSlender * dash.width && dash.length >= kLeastShare * length;
      const bool piece = dash.length * map.um_per_cell >= kPieceLeastUm &&
                         dash.length >= kPieceLeastSlender * dash.width &&
                         region.depth * line.depth > 0 &&
                         Ratio(region.depth, line.depth) <= kPieceLikeDepth;
      if (!whole && !piece) continue;
      const cv::Point2d run = Unit(spine.back() - spine.front());
      const double turn = std::acos(std::min(1.0, std::abs(run.dot(dash.along)))) * kDegrees;
      if (turn > kSameDirectionDeg || dash.width * map.um_per_cell > kWidestFlankUm) continue;
      std::vector<double> away;
      for (const cv::Point2f& p : region.edge) {
        double nearest = 1e9;
        for (const cv::Point2d& q : spine) {
          nearest = std::min(
              nearest, std::hypot(static_cast<double>(p.x) - q.x, static_cast<double>(p.y) - q.y));
        }
        away.push_back(nearest);
      }
      std::sort(away.begin(), away.end());
      const double inner = away[away.size() / 10];
      const double outer = away[(away.size() * 9) / 10];
      const double reach =
          0.5 * line.line_width_cells + kMostApartUm / map.um_per_cell + map.blur_sigma_cells;
      if (inner > reach || outer > reach + 2.0 * dash.width) continue;
      const double wider = 0.5 * line.line_width_cells + outer;
      if (wider <= line.line_width_cells) continue;
      line.line_width_uncertainty_cells =
          std::hypot(line.line_width_uncertainty_cells, 0.5 * (outer - inner), 1.0);
      line.line_width_cells = wider;
      const double depth = line.depth;
      Absorb(region, &line);
      line.depth = depth;
      taken[i] = true;
    }
  }
  EraseMarked(taken, regions);
}

void ReleaseWide(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions) {
  std::erase_if(*lines, [&](Region& line) {
    if (line.line_width_cells * map.um_per_cell <= kWidestScratchUm) return false;
    AsDefect(&line);
    regions->push_back(std::move(line));
    return true;
  });
}

}  // namespace endgrade
