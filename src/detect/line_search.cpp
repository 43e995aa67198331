#include "detect/line_search.h"

#include "detect/direction.h"
#include "detect/faint.h"
#include "detect/line_band.h"
#include "detect/line_pass.h"
#include "detect/line_profile.h"
#include "detect/line_shape.h"
#include "detect/line_trace.h"
#include "detect/middle_of_bar.h"
#include "detect/taken_line.h"
#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kLeastLengthUm = 12.0;  // shorter ones may be the rims of particles
// A scratch is straight or bends gently: rounder than a circle of 70 um it is a hair, or the edge
// of a dried droplet. Short pieces may wander a little more.
constexpr double kMostTurningPerUm = 0.82;  // degrees
constexpr double kLeastTurningDeg = 22.0;
constexpr double kMostTurningDeg = 75.0;
constexpr double kMostStrayUm = 0.8;  // off a parabola
constexpr double kMostStrayCells = 1.5;
constexpr double kMostStrayShare = 0.012;  // of the length, besides
constexpr double kLeastOnFraction = 0.45;
constexpr double kLeftoverShare = 0.5;
constexpr double kWideDoubt = 1.5;  // added to the threshold, in sigma
constexpr double kFerruleDoubt = 1.0;
// Glass has no lay, as a ferrule has: sums that spread so much more in one direction than in
// another are a family of scratches, not noise.
constexpr float kFamilySpread = 1.6F;
constexpr int kMostTries = 400;
constexpr int kMostRounds = 3;

// What is left of a candidate's evidence once earlier lines have been taken out.
double SnrLeft(const LinePass& pass, const LineCandidate& line) {
  const double left = MeanScore(pass.bounded, static_cast<double>(line.sign), line.from, line.to);
  if (left <= 0) return 0.0;
  const double full = MeanScore(pass.score, static_cast<double>(line.sign), line.from, line.to);
  return full > 0 ? static_cast<double>(line.snr) * std::clamp(left / full, 0.0, 1.0) : 0.0;
}

void Clear(cv::Mat* bounded, const std::vector<cv::Point2d>& spine, double half) {
  AlongSpine(Resample(spine, 0.5), half, bounded->size(), [&](size_t, int y, int left, int right) {
    auto* row = bounded->ptr<float>(y);
    std::fill(row + left, row + right + 1, 0.0F);
  });
}

// Marks the band's cells that no earlier line holds. Returns the earlier lines that hold the
// others.
std::vector<int> Claim(const Band& band, int index, cv::Mat* bands) {
  std::vector<int> met;
  for (int y = 0; y < band.box.height; ++y) {
    const auto* place = band.place.ptr<int>(y);
    auto* held = bands->ptr<int>(band.box.y + y) + band.box.x;
    for (int x = 0; x < band.box.width; ++x) {
      if (place[x] < 0) continue;
      if (held[x] == 0) {
        held[x] = index;
      } else if (met.empty() || met.back() != held[x]) {
        met.push_back(held[x]);
      }
    }
  }
  std::sort(met.begin(), met.end());
  met.erase(std::unique(met.begin(), met.end()), met.end());
  return met;
}

// Whether all of it runs along the core's edge, where the face itself is round, not straight.
bool FollowsCoreEdge(const ContrastMap& map, const LineTrace& trace) {
  if (map.core_radius_um <= 0) return false;
  const double reach = 1.0 + map.blur_sigma_cells * map.um_per_cell;
  for (const cv::Point2d& cell : Resample(trace.spine, 4.0)) {
    const cv::Vec2d um =
        map.um_from_cell * cv::Vec2d(cell.x - map.centre_cell.x, cell.y - map.centre_cell.y);
    const double radius = std::hypot(um[0] - map.core_centre_um.x, um[1] - map.core_centre_um.y);
    if (std::abs(radius - map.core_radius_um) > reach) return false;
  }
  return true;
}

// Whether half of it or more lies along the rim: a chip in the rim, not a scratch. A straight
// scratch of any length leaves the rim's circle soon.
bool FollowsRim(const ContrastMap& map, const LineTrace& trace) {
  constexpr double kBesideUm = 5.0;
  const std::vector<cv::Point2d> points = Resample(trace.spine, 4.0);
  size_t beside = 0;
  for (const cv::Point2d& cell : points) {
    const cv::Vec2d um =
        map.um_from_cell * cv::Vec2d(cell.x - map.centre_cell.x, cell.y - map.centre_cell.y);
    const double away = std::hypot(um[0], um[1]) - map.cladding_radius_um;
    beside += std::abs(away) < kBesideUm ? 1 : 0;
  }
  return 2 * beside >= points.size();
}

bool MayBeALine(const ContrastMap& map, const LineTrace& trace) {
  const double length_um = trace.Length() * map.um_per_cell;
  const double most_turning =
      std::clamp(kMostTurningPerUm * length_um, kLeastTurningDeg, kMostTurningDeg);
  return length_um >= kLeastLengthUm && trace.on_fraction >= kLeastOnFraction &&
         trace.turning_deg <= most_turning &&
         Straying(trace.spine) <= std::max(kMostStrayUm / map.um_per_cell, kMostStrayCells) +
                                      kMostStrayShare * trace.Length() &&
         !FollowsCoreEdge(map, trace) && !FollowsRim(map, trace);
}

// Beside a strong line the response swings to the other side although nothing is there.
bool IsOfItsSign(const LineCandidate& candidate, const LineProfile& profile) {
  const bool one_sided = profile.amplitude * profile.right_amplitude > 0;
  return !one_sided || profile.peak * static_cast<double>(candidate.sign) > 0;
}

// Whether the picture, as it is now, still shows anything of the candidate's sign along its spine:
// most candidates are what the response saw of lines that have been taken out since.
bool IsStillThere(const ContrastMap& map,
                  const cv::Mat& residual,
                  const LineCandidate& candidate,
                  const std::vector<cv::Point2d>& spine) {
  const double bound = 0.5 * map.glass_level;
  double sum = 0;
  int count = 0;
  for (const cv::Point2d& p : Resample(spine, 2.0)) {
    double best = -bound;
    for (int dy = -1; dy <= 1; ++dy) {
      for (int dx = -1; dx <= 1; ++dx) {
        const double value = SampleAt(residual, p + cv::Point2d(dx, dy));
        best = std::max(best, value * static_cast<double>(candidate.sign));
      }
    }
    sum += std::min(best, bound);
    ++count;
  }
  return count > 0 && sum / count >= 0.5 * LeastLineDepth(map);
}

// What the bar's fit leaves of a strong line, or its sharpening halo: a weaker line within its
// band.
bool IsLeftover(const LineTrace& trace, const LineProfile& profile, const LinesFound& found) {
  const std::vector<cv::Point2d> points = Resample(trace.spine, 2.0);
  std::vector<size_t> held(found.lines.size() + 1, 0);
  const cv::Rect whole(0, 0, found.bands.cols, found.bands.rows);
  for (const cv::Point2d& p : points) {
    const cv::Point cell(cvRound(p.x), cvRound(p.y));
    if (whole.contains(cell)) ++held[static_cast<size_t>(found.bands.at<int>(cell))];
  }
  for (size_t i = 1; i < held.size(); ++i) {
    if (3 * held[i] < points.size()) continue;
    if (std::abs(profile.peak) < kLeftoverShare * std::abs(found.lines[i - 1].depth)) return true;
  }
  return false;
}

// Side by side, or one after the other: sides of one scratch, which cannot be told one by one, or
// pieces of one.
bool RunAlike(const std::vector<cv::Point2d>& a, const std::vector<cv::Point2d>& b) {
  constexpr double kAlike = 0.996;  // cosine: 5 degrees
  return std::abs(Unit(a.back() - a.front()).dot(Unit(b.back() - b.front()))) > kAlike;
}

// A line that crosses the rim shows on either side of it. The steps in which a file rounds light
// that changes slowly run far over a smooth glass; where one meets what may be a line in a coarse
// ferrule, the mean of both would be that of a scratch.
bool ShowsOnGlass(const ContrastMap& map,
                  const cv::Mat& residual,
                  const std::vector<cv::Point2d>& spine,
                  double blur,
                  double look) {
  constexpr double kFromRimUm = 3.0;
  std::vector<cv::Point2d> on_glass;
  for (const cv::Point2d& cell : Resample(spine, 2.0)) {
    const cv::Vec2d um =
        map.um_from_cell * cv::Vec2d(cell.x - map.centre_cell.x, cell.y - map.centre_cell.y);
    if (std::hypot(um[0], um[1]) < map.cladding_radius_um - kFromRimUm) on_glass.push_back(cell);
  }
  if (on_glass.size() < 2 || LengthOf(on_glass) * map.um_per_cell < kLeastLengthUm) return true;
  const LineProfile profile = MeasureProfile(residual, on_glass, blur, look);
  return std::abs(profile.peak) >= LeastLineDepth(map);
}

// The top of a wide line is flat: its spine may have been followed along a flank.
void MoveToItsMiddle(const ContrastMap& map,
                     const cv::Mat& residual,
                     double look,
                     std::vector<cv::Point2d>* spine,
                     LineProfile* profile) {
  constexpr double kWideCells = 5.0;
  constexpr double kWideUm = 2.0;
  constexpr double kMostMisfit = 1.1;  // of what it was
  const bool one_sided = profile->amplitude * profile->right_amplitude > 0;
  const double wide = std::max(kWideCells, kWideUm / map.um_per_cell);
  if (!one_sided || profile->bar_cells < wide) return;
  std::vector<cv::Point2d> moved = *spine;
  if (!MoveToMiddleOfBar(residual, profile->peak, profile->bar_cells, look, &moved)) return;
  const double blur = std::max(kLeastLineBlur, map.blur_sigma_cells);
  LineProfile there = MeasureProfile(residual, moved, blur, look);
  // Beside a line of the other sign a flank is not where it crosses half of its height.
  if (there.misfit > kMostMisfit * profile->misfit) return;
  *spine = std::move(moved);
  *profile = std::move(there);
}

void RunPass(const ContrastMap& map,
             LinePass pass,
             SpreadSamples* samples,
             cv::Mat* residual,
             std::vector<TakenLine>* taken,
             LinesFound* found) {
  const double blur = std::max(kLeastLineBlur, map.blur_sigma_cells);
  int tries = 0;
  for (const LineCandidate& candidate : CandidatesOf(pass, samples)) {
    if (tries >= kMostTries) break;
    if (SnrLeft(pass, candidate) < pass.plan.threshold) continue;
    ++tries;
    TakenLine line;
    LineTrace& trace = line.trace;
    trace = TraceLine(pass.bounded, pass.score, candidate, pass.correlation);
    const std::vector<cv::Point2d> pass_spine = trace.spine;
    for (cv::Point2d& p : trace.spine) p = pass.MapCell(p);
    if (trace.snr < pass.plan.threshold || !MayBeALine(map, trace) ||
        !IsStillThere(map, *residual, candidate, trace.spine)) {
      Clear(&pass.bounded, pass_spine, 1.0);
      continue;
    }
    const double look = ReachAcross(map);
    LineProfile profile = MeasureProfile(*residual, trace.spine, blur, look);
    if (std::abs(profile.centre_cells) > kOffMiddle) {
      trace.spine = Shifted(trace.spine, profile.centre_cells);
      profile = MeasureProfile(*residual, trace.spine, blur, look);
    }
    const bool accepted =
        LooksLikeALine(trace.Length() * map.um_per_cell, profile, map.um_per_cell) &&
        IsOfItsSign(candidate, profile) && std::abs(profile.peak) >= LeastLineDepth(map) &&
        !IsOneSpot(map, *residual, trace.spine, profile) &&
        ShowsOnGlass(map, *residual, trace.spine, blur, look);
    if (!accepted || IsLeftover(trace, profile, *found)) {
      Clear(&pass.bounded, pass_spine, 1.0);
      continue;
    }
    MoveToItsMiddle(map, *residual, look, &trace.spine, &profile);
    if (residual->data == map.residual.data) *residual = map.residual.clone();
    if (found->bands.empty()) found->bands = cv::Mat::zeros(map.level.size(), CV_32SC1);
    const Band band = MeasureAndTakeOut(map, profile, std::nullopt, &line, residual);
    Clear(&pass.bounded, pass_spine, line.half / pass.reduction);
    found->lines.push_back(LineRegion(line, band));
    for (const int other : Claim(band, static_cast<int>(found->lines.size()), &found->bands)) {
      TakenLine& met = (*taken)[static_cast<size_t>(other - 1)];
      if (RunAlike(line.trace.spine, met.trace.spine)) continue;
      line.meets = line.again = met.meets = met.again = true;
    }
    line.part_of = taken->size();
    taken->push_back(std::move(line));
  }
}

// Direction of a line, end to end, in [0, 180) degrees.
double DirectionDeg(const Region& line) {
  const cv::Point2d run = line.spine.back() - line.spine.front();
  const double angle = std::atan2(run.y, run.x) * 180.0 / CV_PI;
  return angle < 0 ? angle + 180.0 : angle;
}

void Forget(const std::vector<bool>& drop, LinesFound* found) {
  if (std::find(drop.begin(), drop.end(), true) == drop.end()) return;
  std::vector<int> slot(found->lines.size() + 1, 0);
  std::vector<Region> kept;
  for (size_t i = 0; i < found->lines.size(); ++i) {
    if (drop[i]) continue;
    kept.push_back(std::move(found->lines[i]));
    slot[i + 1] = static_cast<int>(kept.size());
  }
  found->lines = std::move(kept);
  for (int y = 0; y < found->bands.rows; ++y) {
    auto* row = found->bands.ptr<int>(y);
    for (int x = 0; x < found->bands.cols; ++x) row[x] = slot[static_cast<size_t>(row[x])];
  }
}

// Lines that meet were followed on since their bands were claimed. Short ones may yet turn out to
// be rims of particles.
void ClaimAgain(const ContrastMap& map, const std::vector<TakenLine>& taken, LinesFound* found) {
  constexpr double kSureUm = 25.0;
  for (size_t i = 0; i < taken.size(); ++i) {
    const TakenLine& line = taken[i];
    if (!line.meets || line.part_of != i) continue;
    if (line.trace.Length() * map.um_per_cell < kSureUm) continue;
    const Band band = RasteriseBand(line.trace.spine, line.half, found->bands.size());
    Claim(band, static_cast<int>(i) + 1, &found->bands);
  }
}

// Leaves of lines that turned out to be one line one.
void DropParts(const std::vector<TakenLine>& taken, LinesFound* found) {
  std::vector<bool> drop(taken.size(), false);
  for (size_t i = 0; i < taken.size(); ++i) {
    if (taken[i].part_of == i) continue;
    drop[i] = true;
    const int whole = static_cast<int>(taken[i].part_of) + 1;
    found->bands.setTo(whole, found->bands == static_cast<int>(i) + 1);
  }
  Forget(drop, found);
}

// How far the middle of a line is from the cladding's.
double MiddleUm(const ContrastMap& map, const std::vector<cv::Point2d>& spine) {
  const cv::Point2d off = spine[spine.size() / 2] - map.centre_cell;
  const cv::Vec2d um = map.um_from_cell * cv::Vec2d(off.x, off.y);
  return std::hypot(um[0], um[1]);
}

bool OnFerrule(const ContrastMap& map, const Region& line) {
  return MiddleUm(map, line.spine) > map.cladding_radius_um;
}

// Many faint lines side by side in one direction are not as many scratches: on the glass they are
// the camera's (moire, interlace, rows); on the ferrule, where they may be plainer, the lay of its
// polish. One that stands out of the others is a scratch.
void DropPattern(const ContrastMap& map, LinesFound* found) {
  constexpr double kFaintOnGlass = 0.06;
  constexpr double kFaintOnFerrule = 0.25;
  constexpr double kSameDirectionDeg = 6.0;
  constexpr int kMany = 5;
  constexpr double kStandsOut = 2.0;
  std::vector<bool> drop(found->lines.size(), false);
  const auto faint = [&](const Region& line) {
    const double most = OnFerrule(map, line) ? kFaintOnFerrule : kFaintOnGlass;
    return std::abs(line.depth) < most * map.glass_level;
  };
  for (size_t i = 0; i < drop.size(); ++i) {
    if (!faint(found->lines[i])) continue;
    std::vector<float> alike;
    for (const Region& other : found->lines) {
      const double turn = std::abs(DirectionDeg(other) - DirectionDeg(found->lines[i]));
      if (!faint(other) || std::min(turn, 180.0 - turn) >= kSameDirectionDeg) continue;
      alike.push_back(static_cast<float>(std::abs(other.depth)));
    }
    if (static_cast<int>(alike.size()) < kMany) continue;
    drop[i] = std::abs(found->lines[i].depth) < kStandsOut * static_cast<double>(MedianOf(alike));
  }
  Forget(drop, found);
}

// Counted among a pattern, but not believed by themselves.
void DropFaint(const ContrastMap& map, LinesFound* found) {
  std::vector<bool> drop;
  for (const Region& line : found->lines) {
    drop.push_back(line.snr < LeastBelievedLineSnr(map, MiddleUm(map, line.spine), line.depth));
  }
  Forget(drop, found);
}

// How far from `along` each point of `beside` is, of those that are within `reach` of it.
std::vector<float> DistancesWithin(double reach,
                                   const std::vector<cv::Point2d>& beside,
                                   const std::vector<cv::Point2d>& along,
                                   cv::Size size) {
  std::vector<float> apart;
  if ((BoxAround(beside, reach, size) & BoxAround(along, reach, size)).empty()) return apart;
  double longest_step = 1e-9;
  for (size_t i = 1; i < along.size(); ++i) {
    const cv::Point2d step = along[i] - along[i - 1];
    longest_step = std::max(longest_step, std::sqrt(step.dot(step)));
  }
  for (const cv::Point2d& p : beside) {
    double nearest = 1e18;
    for (size_t i = 0; i < along.size();) {
      const double squared = (p - along[i]).dot(p - along[i]);
      nearest = std::min(nearest, squared);
      // So many of the next are neither nearer nor within reach: on a face of hundreds of scratches
      // most are far apart, and every point of one against every one of another takes seconds.
      const double to_gain = std::sqrt(squared) - std::min(reach, std::sqrt(nearest));
      i += 1 + static_cast<size_t>(0.999 * std::max(0.0, to_gain) / longest_step);
    }
    if (nearest <= reach * reach) apart.push_back(static_cast<float>(std::sqrt(nearest)));
  }
  return apart;
}

// A scratch may show one bright side and one dark one, or two shoulders: its sides are one scratch,
// as wide as both together.
void JoinSides(const ContrastMap& map, LinesFound* found) {
  constexpr double kGapUm = 1.0;
  // Between a bright and a dark one they cancel: over up to half of the width of either.
  constexpr double kMostGapUm = 2.0;
  constexpr double kGapOfWidth = 0.5;
  constexpr double kLeastShared = 0.6;  // of the shorter one's length
  constexpr double kStub = 0.5;         // of the longer one's length
  constexpr double kWellTold = 0.1;     // uncertainty of a width, of it
  constexpr double kLeastRatio = 0.3;   // of their heights: a bright side may be clipped
  std::vector<bool> drop(found->lines.size(), false);
  std::vector<std::vector<cv::Point2d>> points;
  for (const Region& line : found->lines) points.push_back(Resample(line.spine, 2.0));
  for (size_t i = 0; i < drop.size(); ++i) {
    for (size_t j = i + 1; j < drop.size() && !drop[i]; ++j) {
      if (drop[j]) continue;
      Region& a = found->lines[i];
      Region& b = found->lines[j];
      const double ratio = std::abs(a.depth) / std::max(1e-9, std::abs(b.depth));
      if (std::min(ratio, 1.0 / ratio) < kLeastRatio) continue;
      const double width = 0.5 * (a.line_width_cells + b.line_width_cells);
      const double wide_gap_um =
          std::clamp(kGapOfWidth * width * map.um_per_cell, kGapUm, kMostGapUm);
      const double gap_um = a.depth * b.depth < 0 ? wide_gap_um : kGapUm;
      const double reach = width + gap_um / map.um_per_cell + map.blur_sigma_cells;
      std::vector<float> apart = DistancesWithin(reach, points[j], points[i], map.level.size());
      const size_t shorter = std::min(points[i].size(), points[j].size());
      if (static_cast<double>(apart.size()) < kLeastShared * static_cast<double>(shorter)) continue;
      const Region& longer = points[i].size() < points[j].size() ? b : a;
      const Region& wider = a.line_width_cells < b.line_width_cells ? b : a;
      const double together =
          static_cast<double>(MedianOf(apart)) + 0.5 * (a.line_width_cells + b.line_width_cells);
      // What lies upon a scratch makes it no narrower: a stub, or what is left of one whose width
      // is well told. Of a width that is not, the mean is the better one.
      const size_t length = std::max(points[i].size(), points[j].size());
      const bool is_stub = static_cast<double>(shorter) < kStub * static_cast<double>(length);
      const bool well_told =
          wider.line_width_uncertainty_cells < kWellTold * wider.line_width_cells;
      const Region& whole = is_stub ? longer : wider;
      if ((is_stub || well_told) && together < whole.line_width_cells) {
        a.line_width_uncertainty_cells = whole.line_width_uncertainty_cells;
        a.line_width_cells = whole.line_width_cells;
      } else {
        a.line_width_uncertainty_cells =
            std::hypot(a.line_width_uncertainty_cells, b.line_width_uncertainty_cells);
        a.line_width_cells = together;
      }
      a.cells.insert(a.cells.end(), b.cells.begin(), b.cells.end());
      drop[j] = true;
      for (int y = 0; y < found->bands.rows; ++y) {
        auto* row = found->bands.ptr<int>(y);
        for (int x = 0; x < found->bands.cols; ++x) {
          if (row[x] == static_cast<int>(j) + 1) row[x] = static_cast<int>(i) + 1;
        }
      }
    }
  }
  Forget(drop, found);
}

}  // namespace

LinesFound SearchLines(const ContrastMap& map, const DetectOptions& options, cv::Mat* residual) {
  LinesFound found;
  const double fine = std::max(0.8, map.blur_sigma_cells);
  const double rim_um = map.cladding_radius_um;
  // Wide faint lines and lines in grain have more to be mistaken for.
  const double coarse = std::max(2.0 * fine, 2.8);
  const double threshold = options.line_threshold_sigma;
  std::vector<TakenLine> taken;
  SpreadSamples samples;
  // Lines that cross stronger ones show once those are taken out.
  for (int round = 0; round < kMostRounds; ++round) {
    const size_t before = found.lines.size();
    const LinePlan narrow{fine, 0.0, rim_um - 2.5, threshold, kFamilySpread};
    RunPass(map, MakeLinePass(map, *residual, narrow), &samples, residual, &taken, &found);
    if (found.lines.size() == before) break;
    MeasureMeetingAgain(map, &taken, residual, &found.lines);
  }
  const LinePlan wide{2.5 * fine, 0.0, rim_um - 2.5, threshold + kWideDoubt};
  RunPass(map, MakeLinePass(map, *residual, wide), &samples, residual, &taken, &found);
  const LinePlan ferrule{coarse, rim_um + 4.0, 2.0 * rim_um, threshold + kFerruleDoubt};
  RunPass(map, MakeLinePass(map, *residual, ferrule), &samples, residual, &taken, &found);
  MeasureMeetingAgain(map, &taken, residual, &found.lines);
  ClaimAgain(map, taken, &found);
  DropParts(taken, &found);
  DropPattern(map, &found);
  DropFaint(map, &found);
  JoinSides(map, &found);
  return found;
}

}  // namespace endgrade
