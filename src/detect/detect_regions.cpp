#include "core/gaussian.h"
#include "detect/bent_strokes.h"
#include "detect/detect_in_turn.h"
#include "detect/faint.h"
#include "detect/film_search.h"
#include "detect/fine_border.h"
#include "detect/gather.h"
#include "detect/hair_pieces.h"
#include "detect/join_strips.h"
#include "detect/last_look.h"
#include "detect/line_leftovers.h"
#include "detect/line_profile.h"
#include "detect/line_search.h"
#include "detect/line_trace.h"
#include "detect/scratch_by_shape.h"
#include "detect/sharpening.h"
#include "detect/speck_on_line.h"
#include "detect/speck_search.h"
#include "detect/stain_search.h"
#include "endgrade/detect.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

// A piece of a speck's kind that stays within the line's band and is hardly stronger than the line
// is part of the line: a scratch is not equally deep all along.
constexpr double kPartOfLine = 1.3;
constexpr double kOtherSide = 0.7;  // of the line's depth
constexpr double kLeastSideUm = 10.0;
constexpr double kOwnSide = 0.7;  // of a region: on the line's own cells
constexpr double kShortLineUm = 25.0;
constexpr double kMostOfLine = 0.5;    // of a short line's length
constexpr double kLeastOfThing = 0.3;  // of the line's depth; less is what taking it out left
constexpr double kSlender = 2.5;       // length over width
constexpr double kFringeOfLine = 0.7;  // when up to half of it reaches beyond the band
// What is this faint and has its middle in the band is what taking the line out left.
constexpr double kTouchesBand = 0.3;      // of a region
constexpr double kFaintBesideLine = 0.2;  // of the line's depth
constexpr double kBetweenLines = 0.7;     // of a region: in the bands of lines that meet
constexpr double kTellingShare = 0.1;     // of a region: in the band of one of them
constexpr double kLeftOfLine = 0.5;       // of its depth: what taking it out may leave

std::string OutOfRange(const char* name, double value, const char* range) {
  return std::string("DetectOptions.") + name + " = " + std::to_string(value) +
         ": must be within " + range;
}

// A line's band, and how much of a region lies in it.
struct BandShare {
  int band = 0;
  double share = 0;
};

// Of all bands that hold some of the region, the one that holds most first.
std::vector<BandShare> BandsOf(const Region& region, const cv::Mat& bands) {
  std::vector<int> held;
  for (const cv::Point& cell : region.cells) {
    if (const int band = bands.at<int>(cell)) held.push_back(band);
  }
  std::sort(held.begin(), held.end());
  std::vector<BandShare> shares;
  for (size_t i = 0; i < held.size();) {
    const auto next = std::upper_bound(held.begin(), held.end(), held[i]);
    const auto count = static_cast<size_t>(next - held.begin()) - i;
    shares.push_back(
        {held[i], static_cast<double>(count) / static_cast<double>(region.cells.size())});
    i += count;
  }
  std::stable_sort(shares.begin(), shares.end(), [](const BandShare& a, const BandShare& b) {
    return a.share > b.share;
  });
  return shares;
}

int LongestSide(const Region& region) {
  const cv::Rect box = cv::boundingRect(region.cells);
  return std::max(box.width, box.height);
}

// Whether the region is most of a short line and yet hardly longer than wide: a particle, across
// which the line was drawn.
bool IsTheThingItself(const Region& region, const Region& line, double um_per_cell) {
  if (std::abs(region.depth) < kLeastOfThing * std::abs(line.depth)) return false;
  const double length = LengthOf(line.spine);
  if (length * um_per_cell > kShortLineUm) return false;
  const cv::Size2f box = cv::minAreaRect(region.cells).size;
  const double longest = 1.0 + static_cast<double>(std::max(box.width, box.height));
  const double shortest = 1.0 + static_cast<double>(std::min(box.width, box.height));
  return longest >= kMostOfLine * length && longest < kSlender * shortest;
}

// How much of a region lies on the line itself, not only in the band around it.
double ShareOnLine(const Region& region, const Region& line) {
  const cv::Rect box = cv::boundingRect(region.cells);
  cv::Mat mask = cv::Mat::zeros(box.size(), CV_8UC1);
  for (const cv::Point& cell : line.cells) {
    if (box.contains(cell)) mask.at<uchar>(cell - box.tl()) = 1;
  }
  size_t on = 0;
  for (const cv::Point& cell : region.cells) on += mask.at<uchar>(cell - box.tl());
  return static_cast<double>(on) / static_cast<double>(region.cells.size());
}

// Whether it is what is left where lines meet, each of which was taken out as if it were alone.
bool IsLeftBetweenLines(const Region& region,
                        const std::vector<BandShare>& shares,
                        const LinesFound& lines) {
  double share = 0;
  double weakest = std::numeric_limits<double>::infinity();
  for (const BandShare& each : shares) {
    share += each.share;
    if (each.share < kTellingShare) continue;
    weakest = std::min(weakest, std::abs(lines.lines[static_cast<size_t>(each.band - 1)].depth));
  }
  return share >= kBetweenLines && std::abs(region.depth) < kLeftOfLine * weakest;
}

// Where lines meet, each of them is wider than elsewhere.
bool MeetsAnother(const ContrastMap& map, const Region& region, const LinesFound& lines, int band) {
  constexpr double kNearUm = 4.0;
  for (size_t i = 0; i < lines.lines.size(); ++i) {
    if (static_cast<int>(i) + 1 == band) continue;
    const Region& other = lines.lines[i];
    const double reach = kNearUm / map.um_per_cell + other.line_width_cells;
    for (const cv::Point2d& p : Resample(other.spine, 2.0)) {
      if (std::hypot(p.x - region.peak.x, p.y - region.peak.y) < reach) return true;
    }
  }
  return false;
}

bool IsPartOfLine(const ContrastMap& map, const LinesFound& lines, Region* found) {
  const Region& region = *found;
  if (lines.lines.empty()) return false;
  const double um_per_cell = map.um_per_cell;
  const std::vector<BandShare> shares = BandsOf(region, lines.bands);
  if (shares.empty()) return false;
  const auto [band, share] = shares.front();
  const Region& line = lines.lines[static_cast<size_t>(band - 1)];
  const cv::Point peak(cvRound(region.peak.x), cvRound(region.peak.y));
  const cv::Rect whole(cv::Point(), lines.bands.size());
  if (share >= kTouchesBand && whole.contains(peak) && lines.bands.at<int>(peak) == band &&
      std::abs(region.depth) < kFaintBesideLine * std::abs(line.depth)) {
    return true;
  }
  if (share < 0.5) return IsLeftBetweenLines(region, shares, lines);
  if (IsTheThingItself(region, line, um_per_cell)) return false;
  // Of the other sign, strong and long, it is the scratch's other side: JoinFlanks takes it.
  const bool opposite = region.depth * line.depth < 0;
  if (opposite && std::abs(region.depth) > kOtherSide * std::abs(line.depth) &&
      LongestSide(region) > kLeastSideUm / um_per_cell) {
    // Upon the line itself, it is what is left of the side that was measured with it: light from
    // one side strikes glass and ferrule differently.
    return ShareOnLine(region, line) >= kOwnSide;
  }
  if (!MeetsAnother(map, region, lines, band) && IsSpeckOnLine(map, region, line)) {
    found->line_below = band;
    return false;
  }
  const double strength = share < 0.9 ? kFringeOfLine : kPartOfLine;
  return std::abs(region.depth) < strength * std::abs(line.depth);
}

// Of the region's peak; the search's border where that is outside of the map.
float RadiusOf(const ContrastMap& map, const Region& region) {
  const cv::Point peak(cvRound(region.peak.x), cvRound(region.peak.y));
  const cv::Rect whole(0, 0, map.radius_um.cols, map.radius_um.rows);
  return whole.contains(peak) ? map.radius_um.at<float>(peak) : static_cast<float>(map.outer_um);
}

// A wide, faint stain without an edge anywhere is a shadow of dirt on the camera's own optics, or
// of uneven light: whatever lies on the face is in focus when the rim is.
constexpr double kShadowLeastUm = 12.0;       // narrower ones may be anything
constexpr double kShadowMostContrast = 0.07;  // of the light that is there
constexpr double kShadowMostSharpness = 0.45;
constexpr double kEdgeReachUm = 1.5;

double EdgeSharpness(const ContrastMap& map, const cv::Mat& smooth, const Region& region) {
  const double blur_um = map.blur_sigma_cells * map.um_per_cell;
  const double reach = std::max(kEdgeReachUm, 1.5 * blur_um) / map.um_per_cell;
  const cv::Rect box = cv::boundingRect(region.cells);
  const int margin = static_cast<int>(std::ceil(reach)) + 3;
  const cv::Rect around =
      cv::Rect(box.x - margin, box.y - margin, box.width + 2 * margin, box.height + 2 * margin) &
      cv::Rect(0, 0, map.level.cols, map.level.rows);
  cv::Mat mask = cv::Mat::zeros(around.size(), CV_32FC1);
  for (const cv::Point& cell : region.cells) mask.at<float>(cell - around.tl()) = 1.0F;
  cv::Mat soft;
  cv::GaussianBlur(mask, soft, cv::Size(), reach);
  double sum = 0;
  int count = 0;
  for (const cv::Point2f& p : region.edge) {
    const int x = cvRound(p.x) - around.x;
    const int y = cvRound(p.y) - around.y;
    if (x < 1 || y < 1 || x + 1 >= soft.cols || y + 1 >= soft.rows) continue;
    // Where the search itself ends is no edge of the region's.
    const double radius = static_cast<double>(map.radius_um.at<float>(cvRound(p.y), cvRound(p.x)));
    if (radius > map.outer_um - 2.0 - reach * map.um_per_cell) continue;
    // Inwards is up the smoothed mask.
    const double gx = static_cast<double>(soft.at<float>(y, x + 1) - soft.at<float>(y, x - 1));
    const double gy = static_cast<double>(soft.at<float>(y + 1, x) - soft.at<float>(y - 1, x));
    const double length = std::hypot(gx, gy);
    if (length < 1e-6) continue;
    const cv::Point2d step(reach * gx / length, reach * gy / length);
    sum += SampleAt(smooth, cv::Point2d(p) + step) - SampleAt(smooth, cv::Point2d(p) - step);
    ++count;
  }
  return count > 0 ? sum / count / region.depth : 1.0;
}

// `smooth`: the residual, smoothed a little; filled when it is first needed.
bool IsShadow(const ContrastMap& map, cv::Mat* smooth, Region* region) {
  if (region->is_line || region->in_focus) return false;
  const cv::Rect box = cv::boundingRect(region->cells);
  if (std::max(box.width, box.height) * map.um_per_cell < kShadowLeastUm) return false;
  if (smooth->empty()) cv::GaussianBlur(map.residual, *smooth, cv::Size(), 1.0);
  region->edge_sharpness = EdgeSharpness(map, *smooth, *region);
  region->in_focus = region->edge_sharpness >= kShadowMostSharpness;
  const double light =
      std::min(map.glass_level, map.ring_level[map.RingOf(RadiusOf(map, *region))]);
  return std::abs(region->depth) < kShadowMostContrast * light && !region->in_focus;
}

// What is narrower than the lens makes of a point is not on the face: a hot pixel. In 1,200
// pictures by two renderers most hot pixels came out at 0.35 to 0.85 of a point's width, and no
// bright mark under 0.81. What is dark is left alone: a dark middle may be cut narrow by bright
// flanks.
constexpr double kNarrowestOfPoint = 0.74;

// Of the two sides of the upright box around the points.
double WidestSpan(const std::vector<cv::Point2f>& points) {
  const auto [left, right] = std::minmax_element(
      points.begin(), points.end(), [](const auto& a, const auto& b) { return a.x < b.x; });
  const auto [top, bottom] = std::minmax_element(
      points.begin(), points.end(), [](const auto& a, const auto& b) { return a.y < b.y; });
  return static_cast<double>(std::max(right->x - left->x, bottom->y - top->y));
}

bool IsHotPixel(const ContrastMap& map, const Region& region) {
  if (region.is_line || region.depth <= 0 || region.edge.empty()) return false;
  const double point = kFwhmPerSigma * std::hypot(BlurOfLines(map), region.smoothing_cells);
  const double narrowest = kNarrowestOfPoint * point;
  // The circle around a wide region is dear, and surely wider than the region.
  constexpr double kSurely = 1.01;
  if (WidestSpan(region.edge) > kSurely * narrowest) return false;
  cv::Point2f centre;
  float radius = 0;
  cv::minEnclosingCircle(region.edge, centre, radius);
  return 2.0 * static_cast<double>(radius) < narrowest;
}

// How far and how surely a region stands out, as a whole.
struct Standing {
  double depth = 0;
  double snr = 0;
};

// Mean of the residual over the disc of the region's own area about its middle.
double MeanOverDisc(const ContrastMap& map, const Region& region) {
  cv::Point2d middle(0, 0);
  for (const cv::Point& cell : region.cells) middle += cv::Point2d(cell);
  const auto count = static_cast<double>(region.cells.size());
  middle *= 1.0 / count;
  const double radius = std::sqrt(count / CV_PI);
  double sum = 0;
  int held = 0;
  for (int y = cvCeil(middle.y - radius); y <= cvFloor(middle.y + radius); ++y) {
    for (int x = cvCeil(middle.x - radius); x <= cvFloor(middle.x + radius); ++x) {
      if (std::hypot(x - middle.x, y - middle.y) > radius) continue;
      sum += SampleAt(map.residual, cv::Point2d(x, y));
      ++held;
    }
  }
  return held > 0 ? sum / held : 0.0;
}

// A wide region is found at the first scale, fine to coarse, that shows a part of it: the mean over
// all of it says more, held against the noise of a mean as wide. Over a disc, for a region that
// grew along grain is all of one sign by its making.
Standing StandingOf(const ContrastMap& map,
                    const std::vector<ScaleNoise>& scales,
                    const Region& region) {
  Standing standing{region.depth, region.snr};
  if (region.is_line || region.cells.empty() || scales.empty()) return standing;
  const double mean = MeanOverDisc(map, region);
  if (mean * region.depth <= 0) return standing;
  constexpr double kDiscPerSigma = 3.0;  // of the Gaussian that matches a disc
  const auto count = static_cast<double>(region.cells.size());
  const double sigma = std::sqrt(4.0 * count / CV_PI) / kDiscPerSigma;
  const ScaleNoise* matched = &scales.front();
  for (const ScaleNoise& scale : scales) {
    if (scale.sigma_cells <= sigma) matched = &scale;
  }
  const double noise = std::max(1e-9, matched->ring_noise[map.RingOf(RadiusOf(map, region))]);
  if (std::abs(mean) > std::abs(standing.depth)) standing.depth = mean;
  standing.snr = std::max(standing.snr, std::abs(mean) / noise);
  return standing;
}

// A step of the file's own: before it is joined to anything, or it makes that as large as itself.
bool IsRounding(const ContrastMap& map,
                const std::vector<ScaleNoise>& scales,
                const Region& region) {
  if (map.least_depth <= 0) return false;
  return std::abs(StandingOf(map, scales, region).depth) < map.least_depth;
}

// Where a core's edge falls on the grid, and how a file rounds it, leaves a small share of its
// step.
bool IsOfCoreEdge(const ContrastMap& map, const Region& region) {
  constexpr double kShare = 0.04;
  constexpr double kReachCells = 2.0;
  if (map.core_radius_um <= 0) return false;
  const cv::Vec2d um = map.um_from_cell * cv::Vec2d(region.peak.x - map.centre_cell.x,
                                                    region.peak.y - map.centre_cell.y);
  const double radius = std::hypot(um[0] - map.core_centre_um.x, um[1] - map.core_centre_um.y);
  const double reach = (kReachCells + 1.5 * map.blur_sigma_cells) * map.um_per_cell;
  if (std::abs(radius - map.core_radius_um) > reach) return false;
  const double inside = map.ring_level[map.RingOf(0.0F)];
  return std::abs(region.depth) < kShare * std::abs(inside - map.glass_level);
}

// A core that is too faint to be located, or is no disc of one brightness, leaves a faint round
// patch about the middle of the glass.
bool IsOfFaintCore(const ContrastMap& map, const Region& region, const Standing& standing) {
  constexpr double kLargestUm = 12.0;
  constexpr double kOffCentreUm = 1.0;
  constexpr double kLeastAspect = 0.75;
  constexpr double kMostContrast = 0.06;  // of the glass
  if (std::abs(standing.depth) > kMostContrast * map.glass_level) return false;
  const cv::Rect box = cv::boundingRect(region.cells);
  const double longer = std::max(box.width, box.height);
  if (longer * map.um_per_cell > kLargestUm) return false;
  if (std::min(box.width, box.height) < kLeastAspect * longer) return false;
  cv::Point2d middle(0, 0);
  for (const cv::Point& cell : region.cells) middle += cv::Point2d(cell);
  middle *= 1.0 / static_cast<double>(region.cells.size());
  const cv::Vec2d um =
      map.um_from_cell * cv::Vec2d(middle.x - map.centre_cell.x, middle.y - map.centre_cell.y);
  const cv::Point2d core = map.core_radius_um > 0 ? map.core_centre_um : cv::Point2d(0, 0);
  return std::hypot(um[0] - core.x, um[1] - core.y) < kOffCentreUm;
}

bool IsTooFaint(const ContrastMap& map,
                const DetectOptions& options,
                const std::vector<ScaleNoise>& scales,
                const Region& region) {
  const auto radius_um = static_cast<double>(RadiusOf(map, region));
  const double size_um = LongestSide(region) * map.um_per_cell;
  const Standing standing = StandingOf(map, scales, region);
  if (IsOfFaintCore(map, region, standing)) return true;
  return standing.snr <
         LeastBelievedSnr(map, radius_um, size_um, standing.depth, options.threshold_sigma);
}

// The ring between glass and ferrule is never even. Where it is thick or thin it shows as an arc
// along the rim that does not reach into the glass. It changes slowly: in 250 tuning pictures no
// such arc ran less than 13.7 um, and no chip of the rim that looked like one more than 9.3.
constexpr double kBesideRimUm = 4.5;
constexpr double kIntoGlassUm = 1.8;
constexpr double kLeastArc = 4.0;  // its run along the rim over its depth across it
constexpr double kLeastRunUm = 12.0;
// What hardly stands out of the rim's own noise may be shorter and rounder: of 344 true marks at
// the rim of tuning pictures two were, out of 60 that were the ring's own.
constexpr double kFaintAtRim = 8.0;  // signal-to-noise
constexpr double kFaintBesideRimUm = 6.0;
constexpr double kFaintLeastArc = 1.7;
constexpr double kFaintLeastRunUm = 8.0;

bool IsUnevenRing(const ContrastMap& map, const Region& region) {
  const bool faint = region.snr < kFaintAtRim;
  const double beside = faint ? kFaintBesideRimUm : kBesideRimUm;
  double low = 1e9;
  double high = -1e9;
  cv::Point2d sum(0, 0);
  std::vector<cv::Vec2d> places;  // um from the centre
  for (const cv::Point2f& p : region.edge) {
    const cv::Vec2d um = map.um_from_cell * cv::Vec2d(static_cast<double>(p.x) - map.centre_cell.x,
                                                      static_cast<double>(p.y) - map.centre_cell.y);
    const double radius = std::hypot(um[0], um[1]);
    low = std::min(low, radius - map.cladding_radius_um);
    high = std::max(high, radius - map.cladding_radius_um);
    if (low < -kIntoGlassUm || high > beside) return false;
    sum += cv::Point2d(um[0], um[1]) * (1.0 / std::max(radius, 1e-9));
    places.push_back(um);
  }
  if (places.empty()) return false;
  const double middle = std::atan2(sum.y, sum.x);
  double from = 0;
  double to = 0;
  for (const cv::Vec2d& um : places) {
    const double off = std::remainder(std::atan2(um[1], um[0]) - middle, 2.0 * CV_PI);
    from = std::min(from, off);
    to = std::max(to, off);
  }
  const double run = (to - from) * map.cladding_radius_um;
  return run > (faint ? kFaintLeastRunUm : kLeastRunUm) &&
         run > (faint ? kFaintLeastArc : kLeastArc) * (high - low);
}

constexpr double kMostLeft = 0.5;        // of the line's own area
constexpr double kLeastLeft = 0.9;       // of a region: that lies along the line, or straight on
constexpr double kLeastLeftFaint = 0.5;  // of one that is faint beside the line
constexpr double kBesideLineUm = 0.5;
constexpr double kPastLineUm = 3.0;

// What taking a line out left of it, at an end or where it is deeper, is no particle.
bool IsLeftOfLine(const ContrastMap& map, const Region& line, const Region& region) {
  const double length = LengthOf(line.spine);
  const auto cells = static_cast<double>(region.cells.size());
  const double width = std::hypot(line.line_width_cells, kFwhmPerSigma * map.blur_sigma_cells);
  if (length <= 0 || cells > kMostLeft * length * width) return false;
  const cv::Point2d from = line.spine.front();
  const cv::Point2d run = line.spine.back() - from;
  const cv::Point2d along = run * (1.0 / std::max(1e-9, std::hypot(run.x, run.y)));
  const double beside = 0.5 * width + kBesideLineUm / map.um_per_cell;
  const double past = kPastLineUm / map.um_per_cell;
  size_t on = 0;
  for (const cv::Point& cell : region.cells) {
    const cv::Point2d off = cv::Point2d(cell) - from;
    const double at = off.dot(along);
    on += std::abs(off.cross(along)) <= beside && at >= -past && at <= length + past ? 1 : 0;
  }
  const bool faint = std::abs(region.depth) < kFaintBesideLine * std::abs(line.depth);
  return static_cast<double>(on) >= (faint ? kLeastLeftFaint : kLeastLeft) * cells;
}

// A particle's rims are short lines with the rest of it between or beside them: together one
// defect.
bool IsRimOfParticle(const ContrastMap& map,
                     const Region& line,
                     int band,
                     const std::vector<Region>& specks,
                     const cv::Mat& bands) {
  if (LengthOf(line.spine) * map.um_per_cell > kShortLineUm) return false;
  return std::any_of(specks.begin(), specks.end(), [&](const Region& speck) {
    if (IsLeftOfLine(map, line, speck)) return false;
    return std::any_of(speck.cells.begin(), speck.cells.end(), [&](const cv::Point& cell) {
      return bands.at<int>(cell) == band;
    });
  });
}

// Two specks in a row look like a line, too, with nothing between them.
constexpr double kLeastBetween = 0.25;       // of the line's depth
constexpr double kLeastBetweenShare = 0.15;  // of the line's cells; fewer tell nothing

bool IsOnlySpecks(const ContrastMap& map, const Region& line, const cv::Mat& specks) {
  double sum = 0;
  size_t count = 0;
  for (const cv::Point& cell : line.cells) {
    if (specks.at<uchar>(cell)) continue;
    sum += static_cast<double>(map.residual.at<float>(cell));
    ++count;
  }
  if (static_cast<double>(count) < kLeastBetweenShare * static_cast<double>(line.cells.size())) {
    return false;
  }
  const double sign = line.depth < 0 ? -1.0 : 1.0;
  return sign * sum / static_cast<double>(count) < kLeastBetween * std::abs(line.depth);
}

// Specks with as much around them as blur and sharpening spread.
cv::Mat MaskOf(const ContrastMap& map, const std::vector<Region>& specks) {
  cv::Mat mask = cv::Mat::zeros(map.level.size(), CV_8UC1);
  for (const Region& speck : specks) {
    for (const cv::Point& cell : speck.cells) mask.at<uchar>(cell) = 255;
  }
  const int reach = 1 + static_cast<int>(std::lround(2.0 * map.blur_sigma_cells));
  cv::dilate(
      mask, mask, cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * reach + 1, 2 * reach + 1}));
  return mask;
}

// Stains of which specks hold less than half; what they do hold is theirs.
void AddStains(const ContrastMap& map, std::vector<Region> stains, std::vector<Region>* specks) {
  if (stains.empty()) return;
  const cv::Mat held = MaskOf(map, *specks);
  for (Region& stain : stains) {
    const size_t all = stain.cells.size();
    std::erase_if(stain.cells, [&](const cv::Point& cell) { return held.at<uchar>(cell) != 0; });
    if (2 * stain.cells.size() <= all) continue;
    stain.body_cells = stain.cells.size();
    stain.rimmed = false;
    specks->push_back(std::move(stain));
  }
}

// The line as a patch of the defect, reaching as far to its sides as the gap to the rest of it.
Region AsPatch(const ContrastMap& map, Region line) {
  const int reach = std::max(1, cvRound(1.2 / map.um_per_cell));
  cv::Mat mask = cv::Mat::zeros(map.level.size(), CV_8UC1);
  for (const cv::Point& cell : line.cells) mask.at<uchar>(cell) = 255;
  const cv::Size size(2 * reach + 1, 2 * reach + 1);
  cv::dilate(mask, mask, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
  cv::findNonZero(mask, line.cells);
  line.edge.assign(line.cells.begin(), line.cells.end());
  line.is_line = false;
  return line;
}

// Taking a line out parts the speck that lies on it: both sides of it are one.
void JoinAcrossLines(const ContrastMap& map, const LinesFound& lines, std::vector<Region>* specks) {
  constexpr double kApartUm = 2.5;  // more than the line's own width
  for (size_t i = 0; i < specks->size(); ++i) {
    Region& one = (*specks)[i];
    if (one.line_below == 0) continue;
    const Region& line = lines.lines[static_cast<size_t>(one.line_below - 1)];
    const double most = line.line_width_cells + kApartUm / map.um_per_cell;
    for (size_t j = i + 1; j < specks->size(); ++j) {
      Region& other = (*specks)[j];
      if (other.line_below != one.line_below || one.depth * other.depth < 0) continue;
      if (std::hypot(one.peak.x - other.peak.x, one.peak.y - other.peak.y) > most) continue;
      one.cells.insert(one.cells.end(), other.cells.begin(), other.cells.end());
      one.edge.insert(one.edge.end(), other.edge.begin(), other.edge.end());
      one.body_cells = one.cells.size();
      one.snr = std::max(one.snr, other.snr);
      specks->erase(specks->begin() + static_cast<std::ptrdiff_t>(j--));
    }
  }
}

// What is neither long nor thin, beside the lines and without what is left of them. Part by part,
// for of parts of both signs the borders tell nothing together.
std::vector<Region> SpecksBeside(const ContrastMap& contrast,
                                 const DetectOptions& options,
                                 double rim_share,
                                 const LinesFound& lines,
                                 cv::Mat* smooth,
                                 Detection* detection) {
  cv::Mat residual = detection->without_lines.clone();
  detection->scales.clear();
  std::vector<Region> specks = SearchSpecks(contrast, options, &residual, &detection->scales);
  AddStains(contrast, SearchStains(contrast, detection->without_lines), &specks);
  const double least_rim =
      FringeBesideSpecks(contrast, detection->without_lines, detection->scales, specks, rim_share);
  for (Region& region : specks)
    RefineBorder(contrast, detection->without_lines, detection->scales, least_rim, &region);
  std::erase_if(specks, [&](Region& region) {
    return IsPartOfLine(contrast, lines, &region) ||
           IsRounding(contrast, detection->scales, region) || IsShadow(contrast, smooth, &region);
  });
  JoinAcrossLines(contrast, lines, &specks);
  return specks;
}

// A line through two specks in a row took most of them out of the map, and what was left counted as
// its own. Gives back to `residual` what such lines took out of `before`, and the lines up; whether
// there were any.
bool GiveUpLinesOfSpecks(const ContrastMap& contrast,
                         const std::vector<Region>& specks,
                         const cv::Mat& before,
                         LinesFound* lines,
                         cv::Mat* residual) {
  std::vector<bool> given_up(lines->lines.size(), false);
  cv::Mat mask;
  for (size_t i = 0; i < lines->lines.size(); ++i) {
    const int band = static_cast<int>(i) + 1;
    if (!IsRimOfParticle(contrast, lines->lines[i], band, specks, lines->bands)) continue;
    if (HasSequel(contrast, lines->lines, i)) continue;
    if (mask.empty()) mask = MaskOf(contrast, specks);
    given_up[i] = IsOnlySpecks(contrast, lines->lines[i], mask);
  }
  if (std::find(given_up.begin(), given_up.end(), true) == given_up.end()) return false;
  std::vector<int> new_band(given_up.size() + 1, 0);
  int kept = 0;
  for (size_t i = 0; i < given_up.size(); ++i) {
    if (given_up[i]) {
      before.copyTo(*residual, lines->bands == static_cast<int>(i) + 1);
      continue;
    }
    if (static_cast<size_t>(kept) != i) {
      lines->lines[static_cast<size_t>(kept)] = std::move(lines->lines[i]);
    }
    new_band[i + 1] = ++kept;
  }
  lines->lines.resize(static_cast<size_t>(kept));
  for (auto& band : cv::Mat_<int>(lines->bands)) band = new_band[static_cast<size_t>(band)];
  return true;
}

}  // namespace

std::optional<std::string> DetectOptions::Problem() const {
  if (!(threshold_sigma >= 3 && threshold_sigma <= 20)) {
    return OutOfRange("threshold_sigma", threshold_sigma, "[3, 20]");
  }
  if (!(line_threshold_sigma >= 3 && line_threshold_sigma <= 20)) {
    return OutOfRange("line_threshold_sigma", line_threshold_sigma, "[3, 20]");
  }
  if (!(largest_scale_um >= 2 && largest_scale_um <= 60)) {
    return OutOfRange("largest_scale_um", largest_scale_um, "[2, 60]");
  }
  return std::nullopt;
}

Detection DetectMarks(const ContrastMap& contrast, const DetectOptions& options) {
  Detection detection;
  if (contrast.level.empty()) return detection;
  const double rim_share = FringeShare(contrast);
  cv::Mat residual = contrast.residual;  // copied once something is taken out of it
  std::vector<Region> strokes = TakeOutBentStrokes(contrast, rim_share, &residual);
  // The search for lines clones what it was not given as its own.
  const cv::Mat before = residual.data == contrast.residual.data ? residual : residual.clone();
  LinesFound lines = SearchLines(contrast, options, &residual);
  detection.without_lines = residual;
  cv::Mat smooth;  // the residual, for IsShadow
  std::vector<Region> specks =
      SpecksBeside(contrast, options, rim_share, lines, &smooth, &detection);
  if (GiveUpLinesOfSpecks(contrast, specks, before, &lines, &detection.without_lines)) {
    specks = SpecksBeside(contrast, options, rim_share, lines, &smooth, &detection);
  }
  for (Region& stroke : strokes) specks.push_back(std::move(stroke));
  std::vector<Region> scratches;
  std::vector<Region> rims;
  cv::Mat mask;
  for (size_t i = 0; i < lines.lines.size(); ++i) {
    const Region& line = lines.lines[i];
    if (IsRimOfParticle(contrast, line, static_cast<int>(i) + 1, specks, lines.bands) &&
        !HasSequel(contrast, lines.lines, i)) {
      if (mask.empty()) mask = MaskOf(contrast, specks);
      if (!IsOnlySpecks(contrast, line, mask)) rims.push_back(AsPatch(contrast, line));
    } else {
      scratches.push_back(line);
    }
  }
  for (Region& rim : rims) specks.push_back(std::move(rim));
  JoinKinks(contrast, &scratches, &specks);
  std::vector<Region> regions = MergeSpecks(contrast, std::move(specks), rim_share);
  std::erase_if(regions, [&](Region& region) {
    return IsHotPixel(contrast, region) || IsOfCoreEdge(contrast, region) ||
           IsTooFaint(contrast, options, detection.scales, region) ||
           IsUnevenRing(contrast, region) || IsShadow(contrast, &smooth, &region);
  });
  // What the search for lines missed may still be told by its shape.
  std::erase_if(regions, [&](Region& region) {
    if (!TellScratchByShape(contrast, detection.without_lines, scratches, &region)) return false;
    scratches.push_back(std::move(region));
    return true;
  });
  TakeInLeftovers(contrast, &scratches, &regions);
  JoinFlanks(contrast, &scratches, &regions);
  JoinDashes(contrast, &scratches, &regions);
  JoinStrips(contrast, &scratches, &regions);
  ReleaseWide(contrast, &scratches, &regions);
  JoinHairPieces(contrast, &scratches, &regions);
  detection.regions = std::move(scratches);
  for (Region& region : regions) detection.regions.push_back(std::move(region));
  return detection;
}

void AddLastFound(const ContrastMap& contrast, Detection* detection) {
  if (contrast.level.empty()) return;
  for (Region& film : SearchFilms(contrast, detection->regions)) {
    detection->regions.push_back(std::move(film));
  }
  for (Region& region : LookOnceMore(contrast, detection->regions)) {
    detection->regions.push_back(std::move(region));
  }
}

Detection DetectRegions(const ContrastMap& contrast, const DetectOptions& options) {
  Detection detection = DetectMarks(contrast, options);
  AddLastFound(contrast, &detection);
  return detection;
}

}  // namespace endgrade
