#include "locate/rim_refine.h"

#include "core/wide.h"
#include "locate/rim_fit.h"
#include "locate/ring_fit.h"
#include "locate/sector_profile.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

namespace endgrade::locate {
namespace {

constexpr int kSectors = 120;
constexpr int kFewSectors = 60;          // of a rim too small to fill that many
constexpr double kSmallRadius = 55.0;    // in pixels of the level
constexpr double kReach = 0.22;          // of the radius, either side
constexpr double kAlignReach = 0.12;     // the same, of what aligns the sectors
constexpr double kEnoughRadius = 240.0;  // in pixels of the level
constexpr int kRounds = 4;
constexpr double kLeastClear = 2.0;  // height of a sector's own profile over its noise, to count
constexpr double kLeastSeen = 0.15;  // share of the rim, or there is nothing to align
constexpr double kLeastStep = 2.0;   // luma units between glass and ferrule, or it is a drawn line
constexpr double kLeastStepShare = 0.03;  // the same, of the height of the line
constexpr double kBroadLine = 5.0;        // step into a broad line over that across it, at least
// What the model does not know of: a ring too thin to be told from none, a lens that is not even.
// Shares of the radius, and factors on the model's own standard deviations, that cover the truth in
// 93 to 97 % of cases at k = 2: locate_bench on seeds 3001 to 3240.
constexpr double kRadiusUnknown = 0.00175;
constexpr double kCentreUnknown = 0.0004;
constexpr double kRadiusFactor = 2.0;
constexpr double kCentreFactor = 2.5;
constexpr double kLeastNoise = 0.02;  // pixels of the level
// What one sector says: the common profile is here, shifted outwards by `shift` columns.
struct SectorFit {
  bool in_view = false;
  double shift = 0;
  double shift_noise = 1;
  double gain = 0;
  double gain_noise = 1;
};

std::vector<double> Derivative(const std::vector<double>& profile) {
  std::vector<double> slope(profile.size(), 0.0);
  for (size_t i = 2; i + 2 < profile.size(); ++i) {
    slope[i] = (2.0 * (profile[i + 2] - profile[i - 2]) + profile[i + 1] - profile[i - 1]) / 10.0;
  }
  return slope;
}

// What a sector is made of, by column: four numbers side by side, and each of them in a row.
struct SectorBasis {
  std::vector<cv::Vec4d> rows;
  std::array<std::vector<double>, 4> lines;
};

// A sector's values times the basis. False where one is not seen.
ENDGRADE_WIDE bool Project(const float* values, const SectorBasis& basis, cv::Vec4d* right) {
  Four sum = {};
  bool seen = true;
  for (size_t i = 0; i < basis.rows.size(); ++i) {
    seen &= std::isfinite(values[i]);
    sum += FourAt(basis.rows[i].val).value * static_cast<double>(values[i]);
  }
  FourAt(right->val).value = sum;
  return seen;
}

// The sum of squares that a fit leaves.
ENDGRADE_WIDE double SquaresLeft(const float* values,
                                 const SectorBasis& basis,
                                 const cv::Vec4d& fit) {
  const auto& [first, second, third, fourth] = basis.lines;
  const size_t count = first.size();
  double sum = 0.0;
  size_t i = 0;
  for (; i + 4 <= count; i += 4) {
    const Four value = __builtin_convertvector(FourAt(values + i).value, Four);
    const Four miss =
        value - (FourAt(&first[i]).value * fit[0] + FourAt(&second[i]).value * fit[1] +
                 FourAt(&third[i]).value * fit[2] + FourAt(&fourth[i]).value * fit[3]);
    const Four squares = miss * miss;
    for (int j = 0; j < 4; ++j) sum += squares[j];
  }
  for (; i < count; ++i) {
    const double miss = static_cast<double>(values[i]) - basis.rows[i].dot(fit);
    sum += miss * miss;
  }
  return sum;
}

// Each sector as offset + tilt * x + gain * profile - gain * shift * slope, within the columns
// from `from` to `to`.
std::vector<SectorFit> FitSectors(const cv::Mat& values,
                                  const std::vector<double>& profile,
                                  int from,
                                  int to) {
  const std::vector<double> slope = Derivative(profile);
  SectorBasis basis;
  cv::Matx44d normal = cv::Matx44d::zeros();
  for (int column = from; column < to; ++column) {
    const auto c = static_cast<size_t>(column);
    const double x = 2.0 * (column - from) / (to - from) - 1.0;
    const cv::Vec4d row(1.0, x, profile[c], slope[c]);
    basis.rows.push_back(row);
    for (size_t i = 0; i < basis.lines.size(); ++i) {
      basis.lines[i].push_back(row[static_cast<int>(i)]);
    }
    normal += row * row.t();
  }
  for (int i = 0; i < 4; ++i) normal(i, i) += 1e-9;
  const cv::Matx44d inverse = normal.inv(cv::DECOMP_SVD);
  std::vector<SectorFit> fits(static_cast<size_t>(values.rows));
  for (int ray = 0; ray < values.rows; ++ray) {
    SectorFit& fit = fits[static_cast<size_t>(ray)];
    const auto* row = values.ptr<float>(ray) + from;
    cv::Vec4d right;
    fit.in_view = Project(row, basis, &right);
    if (!fit.in_view) continue;
    const cv::Vec4d x = inverse * right;
    const double rss = SquaresLeft(row, basis, x);
    // Half the columns are independent: they share pixels.
    const double variance = std::max(1e-3, rss / std::max(1.0, 0.5 * (to - from) - 4.0));
    fit.gain = x[2];
    fit.gain_noise = std::sqrt(variance * inverse(2, 2) * 2.0);
    fit.shift = x[2] > 0.05 ? -x[3] / x[2] : 0.0;
    fit.shift_noise = x[2] > 0.05 ? std::sqrt(variance * inverse(3, 3) * 2.0) / x[2] : 1e6;
  }
  return fits;
}

bool Agrees(const SectorFit& fit) {
  return fit.in_view && fit.gain > kLeastClear * fit.gain_noise && fit.gain > 0.3 && fit.gain < 3.0;
}

struct Alignment {
  RimOffset offset;  // size stays 0: the profile says where the rim is
  std::vector<double> weights;
  double scatter = 0;  // of the shifts about the ellipse, share of the radius
  double seen = 0;
  double in_view = 0;
};

Alignment Align(const std::vector<SectorFit>& fits, double column_step, double tolerance) {
  std::vector<RayEdge> edges;
  for (size_t i = 0; i < fits.size(); ++i) {
    if (!Agrees(fits[i])) continue;
    const double angle = 2.0 * CV_PI * static_cast<double>(i) / static_cast<double>(fits.size());
    const double shift = std::clamp(fits[i].shift * column_step, -0.1, 0.1);
    const double noise = std::max(fits[i].shift_noise * column_step, 0.1 * tolerance);
    edges.push_back({std::cos(angle),
                     std::sin(angle),
                     shift,
                     std::min(6.0, tolerance * tolerance / (noise * noise))});
  }
  Alignment result;
  result.weights.assign(fits.size(), 0.0);
  if (edges.size() < fits.size() / 10) return result;
  result.offset = FitOffset(edges, {}, 2.0 * tolerance);
  result.offset = FitOffset(edges, result.offset, tolerance);
  double square = 0.0;
  int count = 0;
  for (size_t i = 0; i < fits.size(); ++i) {
    if (fits[i].in_view) result.in_view += 1.0 / static_cast<double>(fits.size());
    if (!Agrees(fits[i])) continue;
    const double angle = 2.0 * CV_PI * static_cast<double>(i) / static_cast<double>(fits.size());
    const double miss =
        fits[i].shift * column_step - result.offset.At(std::cos(angle), std::sin(angle));
    if (std::abs(miss) > tolerance) continue;
    result.weights[i] = 1.0;
    square += miss * miss;
    ++count;
  }
  result.offset.size = 0.0;
  result.seen = static_cast<double>(count) / static_cast<double>(fits.size());
  result.scatter = std::sqrt(square / std::max(1, count));
  return result;
}

// The last round sees all there is; those before only need to find their place.
PolarGrid SectorGrid(double radius, bool last) {
  const int sectors = radius < kSmallRadius ? kFewSectors : kSectors;
  const double around = 2.0 * CV_PI * radius / sectors;
  const double reach = last ? kReach : kAlignReach + 0.01;
  const double pitch = last ? std::clamp(radius / 250.0, 0.5, 1.0) : 0.8;
  PolarGrid grid;
  grid.rays = sectors;
  grid.averaged =
      std::clamp(static_cast<int>(std::lround(last ? 0.8 * around : 0.5 * around)), 1, 12);
  grid.from = 1.0 - reach;
  grid.to = 1.0 + reach;
  grid.columns = std::max(24, static_cast<int>(2.0 * reach * radius / pitch) + 1);
  return grid;
}

double MeanOf(const PolarMap& map, const float* row, double from, double to) {
  const int first = std::clamp(static_cast<int>(map.ColumnAt(from)), 0, map.values.cols - 1);
  const int last = std::clamp(static_cast<int>(map.ColumnAt(to)), first, map.values.cols - 1);
  return static_cast<double>(std::accumulate(row + first, row + last + 1, 0.0F)) /
         (last - first + 1);
}

// A line with the same brightness on both sides. The step is the median over the sectors, next to
// the line: where another edge crosses it, a few sectors have a step of their own.
bool Drawn(const RimEstimate& rim,
           const PolarMap& map,
           const std::vector<double>& weights,
           double radius) {
  const double ring = rim.ring_width / radius;
  std::vector<float> steps;
  std::vector<float> crests;
  std::vector<float> far_steps;
  const double whole = std::abs(rim.ferrule_level - rim.glass_level);
  for (int ray = 0; ray < map.values.rows; ++ray) {
    if (weights[static_cast<size_t>(ray)] <= 0.0) continue;
    const auto* row = map.values.ptr<float>(ray);
    const double inside = MeanOf(map, row, 0.89, 0.95);
    const double outside = MeanOf(map, row, 1.05 + ring, 1.11 + ring);
    double crest = 0.0;
    for (double at = 0.96; at < 1.04 + ring; at += map.step) {
      const auto value = static_cast<double>(row[static_cast<size_t>(map.ColumnAt(at))]);
      const double beyond =
          std::max(value - std::max(inside, outside), std::min(inside, outside) - value);
      crest = std::max(crest, beyond);
    }
    if (!std::isfinite(outside - inside)) continue;
    const double far = MeanOf(map, row, 1.17, 1.21) - MeanOf(map, row, 0.79, 0.83);
    if (std::isfinite(far)) far_steps.push_back(static_cast<float>(far));
    steps.push_back(static_cast<float>(outside - inside));
    crests.push_back(static_cast<float>(crest));
  }
  const double step = std::abs(static_cast<double>(Median(steps)));
  const double crest = static_cast<double>(Median(crests));
  // A broad line's other border lies further out than the rim's model reaches.
  const double far = std::abs(static_cast<double>(Median(far_steps)));
  if (far < std::max(kLeastStep, kLeastStepShare * whole) && whole > kBroadLine * far) return true;
  if (ring > 0.0) {
    return std::min(step, whole) <
           std::max(kLeastStep, kLeastStepShare * std::abs(rim.ring_level - rim.glass_level));
  }
  return crest > 3.0 * kLeastStep + 2.0 * step;
}

}  // namespace

Level RimLevel(const cv::Mat& luma, double white_level, const RimFrame& frame) {
  const double radius = frame.Radius();
  const int factor = std::max(1, static_cast<int>(std::lround(radius / kEnoughRadius)));
  const int reach = static_cast<int>(radius * (1.1 + kReach)) + 4;
  const cv::Point middle(static_cast<int>(frame.centre.x), static_cast<int>(frame.centre.y));
  const cv::Rect part = cv::Rect(middle.x - reach, middle.y - reach, 2 * reach, 2 * reach) &
                        cv::Rect({0, 0}, luma.size());
  return MakeLevel(luma, white_level, part, factor);
}

std::optional<Rim> RefineRim(const Level& level, const RimFrame& start) {
  RimFrame frame = level.FrameOf(start);
  Alignment alignment;
  PolarMap map;
  for (int round = 0; round < kRounds; ++round) {
    const double radius = frame.Radius();
    if (!(radius > 8.0)) return std::nullopt;
    const bool last = round + 1 == kRounds;
    map = SampleRays(level, frame, SectorGrid(radius, last));
    const int half = static_cast<int>(kAlignReach / map.step);
    const int middle = map.values.cols / 2;
    const cv::Range aligned(middle - half, middle + half + 1);
    // The profile's slope takes two columns more, on either side.
    const cv::Range read =
        cv::Range(aligned.start - 2, aligned.end + 2) & cv::Range(0, map.values.cols);
    const cv::Mat values = map.values.colRange(read);
    const auto fits = FitSectors(values,
                                 CommonProfile(values, alignment.weights),
                                 aligned.start - read.start,
                                 aligned.end - read.start);
    const double tolerance = std::max(round == 0 ? 0.03 : 0.02, 1.0 / radius);
    alignment = Align(fits, map.step, tolerance);
    if (alignment.seen < kLeastSeen) return std::nullopt;
    if (!last) frame = frame.Moved(alignment.offset);
  }
  const auto found = FitWholeRim(level, frame, alignment.weights);
  if (!found) return std::nullopt;
  const double radius = frame.Radius();
  Rim rim;
  rim.frame = level.PictureOf(frame.Moved(found->glass));
  rim.seen = alignment.seen;
  rim.in_view = alignment.in_view;
  // Averaging to the level and sampling between its pixels blur as well.
  const double own = (level.factor > 1 ? 1.0 / 12.0 : 0.0) + 1.0 / 6.0;
  const double variance = found->blur_sigma * found->blur_sigma - own;
  rim.sigma_px = level.factor * std::sqrt(std::max(0.04, variance));
  rim.fwhm_px = rim.sigma_px * found->blur_fwhm / found->blur_sigma;
  rim.step = found->ferrule_level - found->glass_level;
  rim.drawn = Drawn(*found, map, alignment.weights, radius);
  if (found->kind != RingKind::kNone) rim.ring_px = found->ring_width * level.factor;
  const double noise = level.factor * kLeastNoise;
  rim.radius_uncertainty_px = std::hypot(kRadiusFactor * level.factor * found->radius_sigma,
                                         noise,
                                         kRadiusUnknown * radius * level.factor);
  rim.centre_uncertainty_px = std::hypot(kCentreFactor * level.factor * found->centre_sigma,
                                         noise,
                                         kCentreUnknown * radius * level.factor);
  return rim;
}

}  // namespace endgrade::locate
