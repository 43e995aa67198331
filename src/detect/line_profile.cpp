#include "detect/line_profile.h"

#include "core/gaussian.h"
#include "core/wide.h"
#include "detect/line_trace.h"
#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>
#include <span>

namespace endgrade {
namespace {

constexpr double kNarrowest = 0.1;       // cells
constexpr double kLeastBlur = 0.5;       // cells
constexpr double kTwoSidesShare = 0.35;  // least height of the weaker side over the stronger's
constexpr double kTwoSidesGain = 0.5;    // of the error, or a single bar explains it
constexpr double kStepTold = 0.25;       // of the line's height: of a step from side to side
constexpr int kFollowCells = 21;         // window along the line for the level of its sides

// Cumulative normal distribution from a table, straight between entries: 1e-6 off at most.
constexpr double kReachSigmas = 6.0;
constexpr int kEntries = 2400;
using NormalTable = std::array<double, kEntries + 2>;

const NormalTable& TableOfNormal() {
  static const NormalTable table = [] {
    NormalTable t{};
    for (int i = 0; i < kEntries + 2; ++i) {
      const double at = (2.0 * i / kEntries - 1.0) * kReachSigmas;
      t[static_cast<size_t>(i)] = 0.5 * std::erfc(-at / std::numbers::sqrt2);
    }
    return t;
  }();
  return table;
}

// Where it is looked up, within its reach.
[[gnu::always_inline]] inline double EntryOf(double z) {
  return z * (0.5 * kEntries / kReachSigmas) + 0.5 * kEntries;
}

[[gnu::always_inline]] inline double LookUp(const double* table, double place) {
  const int i = static_cast<int>(place);
  return table[i] + (place - static_cast<double>(i)) * (table[i + 1] - table[i]);
}

double NormalCdf(double z) {
  return LookUp(TableOfNormal().data(), EntryOf(std::clamp(z, -kReachSigmas, kReachSigmas)));
}

// A bar of unit height and width w, blurred.
double Bar(double offset, double width, double blur) {
  return NormalCdf((offset + 0.5 * width) / blur) - NormalCdf((offset - 0.5 * width) / blur);
}

constexpr int kOffsetsAtOnce = 64;

// The same at each of up to so many offsets.
ENDGRADE_WIDE void BarAtEach(const double* __restrict offsets,
                             int count,
                             double centre,
                             double width,
                             double blur,
                             const double* __restrict table,
                             double* __restrict heights) {
  // A bound at a time, or the compiler sees branches and no registers full of numbers.
  double right[kOffsetsAtOnce];
  double left[kOffsetsAtOnce];
  for (int i = 0; i < count; ++i) {
    right[i] = std::max((offsets[i] - centre + 0.5 * width) / blur, -kReachSigmas);
    left[i] = std::max((offsets[i] - centre - 0.5 * width) / blur, -kReachSigmas);
  }
  for (int i = 0; i < count; ++i) {
    right[i] = std::min(right[i], kReachSigmas);
    left[i] = std::min(left[i], kReachSigmas);
  }
  for (int i = 0; i < count; ++i) {
    right[i] = EntryOf(right[i]);
    left[i] = EntryOf(left[i]);
  }
  for (int i = 0; i < count; ++i) heights[i] = LookUp(table, right[i]) - LookUp(table, left[i]);
}

struct BarFit {
  double left = 0, right = 0, base = 0, error = 1e300;
};

// Closed form for amplitude and base at a given width and centre.
BarFit FitBar(const LineProfile& profile, double width, double centre, double blur) {
  const auto& offsets = profile.offsets;
  const auto s1 = static_cast<double>(offsets.size());
  const double sy = profile.sum;
  const double syy = profile.squares;
  double sm = 0, smm = 0, smy = 0;
  // Beyond its sides and the reach of the blur the bar is nothing.
  const double reach = 0.5 * width + kReachSigmas * blur;
  const auto first = std::lower_bound(offsets.begin(), offsets.end(), centre - reach);
  const auto last = std::upper_bound(first, offsets.end(), centre + reach);
  const double* const table = TableOfNormal().data();
  const double* offset = offsets.data() + (first - offsets.begin());
  const double* y = profile.values.data() + (first - offsets.begin());
  std::array<double, kOffsetsAtOnce> heights;
  for (auto left = static_cast<int>(last - first); left > 0; left -= kOffsetsAtOnce) {
    const int count = std::min(left, kOffsetsAtOnce);
    BarAtEach(offset, count, centre, width, blur, table, heights.data());
    for (int i = 0; i < count; ++i) {
      const double m = heights[static_cast<size_t>(i)];
      sm += m;
      smm += m * m;
      smy += m * y[i];
    }
    offset += count;
    y += count;
  }
  BarFit fit;
  const double det = s1 * smm - sm * sm;
  if (det <= 1e-12) return fit;
  fit.left = fit.right = (s1 * smy - sm * sy) / det;
  fit.base = (sy - fit.left * sm) / s1;
  fit.error = std::max(0.0, syy - fit.left * smy - fit.base * sy);
  return fit;
}

// The same with an amplitude for either half: least squares of three unknowns by Cramer's rule.
BarFit FitHalves(const LineProfile& profile, double width, double centre, double blur) {
  const auto& offsets = profile.offsets;
  const auto n = static_cast<double>(offsets.size());
  const double sy = profile.sum;
  const double syy = profile.squares;
  const double share = 1.0 / blur;
  double l = 0, r = 0, ll = 0, lr = 0, rr = 0, ly = 0, ry = 0;
  const double reach = 0.5 * width + kReachSigmas * blur;
  const auto first = std::lower_bound(offsets.begin(), offsets.end(), centre - reach);
  const auto last = std::upper_bound(first, offsets.end(), centre + reach);
  for (auto offset = first; offset != last; ++offset) {
    const double x = *offset - centre;
    const double y = profile.values[static_cast<size_t>(offset - offsets.begin())];
    const double middle = NormalCdf(x * share);  // where the halves meet
    const double left = NormalCdf((x + 0.5 * width) * share) - middle;
    const double right = middle - NormalCdf((x - 0.5 * width) * share);
    l += left;
    r += right;
    ll += left * left;
    lr += left * right;
    rr += right * right;
    ly += left * y;
    ry += right * y;
  }
  BarFit fit;
  const double a = rr * n - r * r;
  const double b = r * l - lr * n;
  const double c = lr * r - rr * l;
  const double det = ll * a + lr * b + l * c;
  if (det <= 0.0) return fit;
  const double d = ll * n - l * l;
  const double e = l * lr - ll * r;
  fit.left = (a * ly + b * ry + c * sy) / det;
  fit.right = (b * ly + d * ry + e * sy) / det;
  fit.base = (c * ly + e * ry + (ll * rr - lr * lr) * sy) / det;
  fit.error = std::max(0.0, syy - fit.left * ly - fit.right * ry - fit.base * sy);
  return fit;
}

// Whether the profile swings clearly to both sides of its own border level.
bool HasTwoSides(const LineProfile& profile) {
  const auto [low, high] = std::minmax_element(profile.values.begin(), profile.values.end());
  const double base = 0.5 * (profile.values.front() + profile.values.back());
  const double down = base - *low;
  const double up = *high - base;
  return std::min(down, up) > kTwoSidesShare * std::max(down, up);
}

// Where a narrow bar fits best: the line's middle, to be refined with the width.
double MiddleOf(const LineProfile& profile, double blur) {
  double best = 0;
  double error = 1e300;
  for (double centre = -2.0; centre <= 2.01; centre += 0.4) {
    const double here = FitBar(profile, 1.0, centre, blur).error;
    if (here < error) {
      error = here;
      best = centre;
    }
  }
  return best;
}

// Values across the line (columns) at every step along it (rows).
cv::Mat Straighten(const cv::Mat& residual,
                   const std::vector<cv::Point2d>& points,
                   const std::vector<double>& offsets) {
  cv::Mat strip(static_cast<int>(points.size()), static_cast<int>(offsets.size()), CV_32FC1);
  for (size_t i = 0; i < points.size(); ++i) {
    const cv::Point2d ahead = points[std::min(i + 2, points.size() - 1)];
    const cv::Point2d behind = points[i >= 2 ? i - 2 : 0];
    const double length = std::max(1e-9, std::hypot(ahead.x - behind.x, ahead.y - behind.y));
    const cv::Point2d along = (ahead - behind) * (1.0 / length);
    auto* row = strip.ptr<float>(static_cast<int>(i));
    const auto place = [&](double offset) {
      return cv::Point2d(points[i].x - along.y * offset, points[i].y + along.x * offset);
    };
    const bool inside = IsWellInside(residual, place(offsets.front())) &&
                        IsWellInside(residual, place(offsets.back()));
    for (size_t s = 0; s < offsets.size(); ++s) {
      const cv::Point2d p = place(offsets[s]);
      row[s] = static_cast<float>(inside ? SampleInside(residual, p) : SampleAt(residual, p));
    }
  }
  return strip;
}

// Takes the level of either side, followed along the line, out of the strip: a film beside a part
// of the line is not the line's. Returns the median step from left to right.
double LevelSides(cv::Mat* strip) {
  const int side = std::max(2, strip->cols / 6);
  cv::Mat left;
  cv::Mat right;
  cv::reduce(strip->colRange(0, side), left, 1, cv::REDUCE_AVG);
  cv::reduce(strip->colRange(strip->cols - side, strip->cols), right, 1, cv::REDUCE_AVG);
  const cv::Size window(1, kFollowCells);
  cv::blur(left, left, window, cv::Point(-1, -1), cv::BORDER_REPLICATE);
  cv::blur(right, right, window, cv::Point(-1, -1), cv::BORDER_REPLICATE);
  std::vector<float> steps;
  const float middle_left = 0.5F * static_cast<float>(side - 1);
  const float middle_right = static_cast<float>(strip->cols - 1) - middle_left;
  for (int i = 0; i < strip->rows; ++i) {
    const float l = left.at<float>(i);
    const float r = right.at<float>(i);
    steps.push_back(r - l);
    auto* row = strip->ptr<float>(i);
    for (int s = 0; s < strip->cols; ++s) {
      row[s] -= l + (r - l) * (static_cast<float>(s) - middle_left) / (middle_right - middle_left);
    }
  }
  return static_cast<double>(MedianOf(steps));
}

// The rows in which the line is seen: it may be broken into dashes, or fade. All of them where it
// is too faint in any one row to tell.
std::vector<int> RowsThatShowIt(const cv::Mat& strip) {
  constexpr int kLeastRows = 8;
  constexpr float kStrong = 5.0F;  // height in one row over its noise
  constexpr float kShown = 0.5F;   // of the height of the strong rows
  const int middle = strip.cols / 2;
  const int reach = std::max(1, strip.cols / 12);
  std::vector<float> heights;
  std::vector<float> sides;
  for (int i = 0; i < strip.rows; ++i) {
    const auto* row = strip.ptr<float>(i);
    float most = 0;
    for (int s = middle - reach; s <= middle + reach; ++s) most = std::max(most, std::abs(row[s]));
    heights.push_back(most);
    sides.push_back(row[1]);
    sides.push_back(row[strip.cols - 2]);
  }
  std::vector<float> sorted = heights;
  std::sort(sorted.begin(), sorted.end());
  const float strong = sorted[(sorted.size() * 4) / 5];
  std::vector<int> shown;
  const bool clear = strong > kStrong * (SigmaAbout(MedianOf(sides), sides) + 1e-6F);
  for (int i = 0; i < strip.rows; ++i) {
    if (!clear || heights[static_cast<size_t>(i)] >= kShown * strong) shown.push_back(i);
  }
  if (static_cast<int>(shown.size()) >= kLeastRows) return shown;
  shown.resize(static_cast<size_t>(strip.rows));
  std::iota(shown.begin(), shown.end(), 0);
  return shown;
}

void ReadAcross(const cv::Mat& residual,
                const std::vector<cv::Point2d>& spine,
                double half,
                LineProfile* profile) {
  const int steps = static_cast<int>(std::ceil(half / profile->step_cells));
  for (int s = -steps; s <= steps; ++s) profile->offsets.push_back(s * profile->step_cells);
  cv::Mat strip = Straighten(residual, Resample(spine, 1.0), profile->offsets);
  profile->side_step = LevelSides(&strip);
  const std::vector<int> rows = RowsThatShowIt(strip);
  cv::Mat shown(static_cast<int>(rows.size()), strip.cols, CV_32FC1);
  for (int i = 0; i < shown.rows; ++i) strip.row(rows[static_cast<size_t>(i)]).copyTo(shown.row(i));
  const cv::Mat columns = shown.t();
  for (int s = 0; s < columns.rows; ++s) {
    const std::span<const float> column(columns.ptr<float>(s), static_cast<size_t>(columns.cols));
    const float middle = MedianOf(column);
    const float reach = 3.0F * SigmaAbout(middle, column) + 1e-6F;
    double sum = 0;
    for (const float v : column) {
      sum += static_cast<double>(std::clamp(v, middle - reach, middle + reach));
    }
    profile->values.push_back(sum / static_cast<double>(column.size()));
  }
  for (const double value : profile->values) {
    profile->sum += value;
    profile->squares += value * value;
  }
}

struct Centres {
  double middle = 0, reach = 0, step = 1;  // cells
};

// The best fit of all, and the least error at each width.
struct Fits {
  BarFit best;
  double width = 0, centre = 0;
  std::vector<double> errors;
};

template <typename Fit>
Fits TryWidths(const LineProfile& profile,
               const std::vector<double>& widths,
               Fit fit_at,
               const Centres& centres,
               double blur) {
  Fits fits;
  fits.errors.assign(widths.size(), 1e300);
  const int steps = static_cast<int>(std::lround(centres.reach / centres.step));
  for (size_t i = 0; i < widths.size(); ++i) {
    for (int k = -steps; k <= steps; ++k) {
      const double centre = centres.middle + k * centres.step;
      const BarFit fit = fit_at(profile, widths[i], centre, blur);
      fits.errors[i] = std::min(fits.errors[i], fit.error);
      if (fit.error < fits.best.error) {
        fits.best = fit;
        fits.width = widths[i];
        fits.centre = centre;
      }
    }
  }
  return fits;
}

// Height of the stronger half as seen.
double PeakOf(const LineProfile& profile, double blur) {
  double peak = 0;
  for (double part = -0.5; part <= 0.51; part += 0.125) {
    const double here =
        profile.ModelAt(profile.centre_cells + part * (profile.bar_cells + blur), blur);
    if (std::abs(here) > std::abs(peak)) peak = here;
  }
  return peak;
}

// Every width weighs by how well it explains the profile, for a Gaussian error of an independent
// value; the mean is the width, twice the spread its expanded uncertainty. A line narrower than the
// blur can tell gets the middle of what is possible.
void WeighWidths(const Fits& fits,
                 const std::vector<double>& widths,
                 double blur,
                 LineProfile* profile) {
  // Neighbouring offsets share the blur: about 2 blur / step of them make one independent value.
  const double shared = std::max(1.0, 2.0 * blur / profile->step_cells);
  const double count = static_cast<double>(profile->values.size()) - 4.0;
  const double freedom = std::max(1.0, count / shared);
  const double variance = fits.best.error / std::max(1.0, count);
  const double unit = std::max(1e-12, 2.0 * variance * shared * (1.0 + 2.0 / freedom));
  double total = 0;
  double mean = 0;
  double square = 0;
  for (size_t i = 0; i < widths.size(); ++i) {
    const double weight = std::exp(-(fits.errors[i] - fits.best.error) / unit) * widths[i];
    total += weight;  // d(width) is in proportion to the width
    mean += weight * widths[i];
    square += weight * widths[i] * widths[i];
  }
  profile->width_cells = mean / total;
  profile->width_uncertainty_cells =
      2.0 * std::sqrt(std::max(0.0, square / total - profile->width_cells * profile->width_cells));
  profile->misfit = std::sqrt(variance) / std::max(1e-9, std::abs(profile->peak));
}

}  // namespace

double LineProfile::ModelAt(double offset_cells, double blur_cells) const {
  const double x = offset_cells - centre_cells;
  if (amplitude == right_amplitude) return amplitude * Bar(x, bar_cells, blur_cells);
  const double half = 0.5 * bar_cells;
  return amplitude * Bar(x + 0.5 * half, half, blur_cells) +
         right_amplitude * Bar(x - 0.5 * half, half, blur_cells);
}

namespace {

LineProfile MeasureWithin(double half_width_cells,
                          const cv::Mat& residual,
                          const std::vector<cv::Point2d>& spine,
                          double blur) {
  LineProfile profile;
  ReadAcross(residual, spine, half_width_cells, &profile);
  const double widest = 1.4 * half_width_cells;
  std::vector<double> widths;
  for (double w = kNarrowest; w <= widest; w *= 1.08) widths.push_back(w);

  const double middle = MiddleOf(profile, blur);
  Fits fits = TryWidths(profile, widths, FitBar, {middle, 0.6, 0.2}, blur);
  if (HasTwoSides(profile)) {
    // The spine follows the stronger half, up to a quarter of the width off the whole's middle.
    // Coarsely over all of that first: a fit of halves is dear.
    std::vector<double> few;
    for (size_t i = 0; i < widths.size(); i += 3) few.push_back(widths[i]);
    const Fits rough = TryWidths(profile, few, FitHalves, {middle, 4.0, 0.8}, blur);
    const Fits halves = TryWidths(profile, widths, FitHalves, {rough.centre, 0.4, 0.4}, blur);
    const bool opposite = halves.best.left * halves.best.right < 0;
    if (opposite && halves.best.error < kTwoSidesGain * fits.best.error) fits = halves;
  }
  profile.bar_cells = fits.width;
  profile.centre_cells = fits.centre;
  profile.amplitude = fits.best.left;
  profile.right_amplitude = fits.best.right;
  profile.peak = PeakOf(profile, blur);
  WeighWidths(fits, widths, blur, &profile);
  return profile;
}

}  // namespace

double BlurOfLines(const ContrastMap& map) {
  double blur = map.blur_sigma_cells;
  if (map.blur_fwhm_cells > 0) blur = std::min(blur, map.blur_fwhm_cells / kFwhmPerSigma);
  return std::max(kLeastBlur, blur);
}

double ReachAcross(const ContrastMap& map) {
  return std::max(6.0, 4.0 * std::max(kLeastBlur, map.blur_sigma_cells) + 3.0 / map.um_per_cell);
}

constexpr double kFullWindow = 0.75;  // half as wide as the window, or wider
constexpr double kWiderWindow = 1.6;

LineProfile MeasureProfile(const cv::Mat& residual,
                           const std::vector<cv::Point2d>& spine,
                           double blur_cells,
                           double half_width_cells) {
  const double blur = std::max(kLeastBlur, blur_cells);
  LineProfile profile = MeasureWithin(half_width_cells, residual, spine, blur);
  // A step from one side to the other may be the line's own other half, wider than the window.
  if (std::abs(profile.side_step) > kStepTold * std::abs(profile.peak)) {
    LineProfile wider = MeasureWithin(2.0 * half_width_cells, residual, spine, blur);
    const bool both_sides = wider.amplitude * wider.right_amplitude < 0;
    const bool no_step = std::abs(wider.side_step) <= kStepTold * std::abs(wider.peak);
    if (both_sides && no_step) return wider;
  }
  // Of a wide line the window must show what lies beside it, too.
  if (0.5 * profile.bar_cells + 3.0 * blur > kFullWindow * half_width_cells) {
    LineProfile wider = MeasureWithin(kWiderWindow * half_width_cells, residual, spine, blur);
    const bool one_sided = wider.amplitude * wider.right_amplitude > 0;
    if (one_sided && wider.misfit < profile.misfit) return wider;
  }
  return profile;
}

}  // namespace endgrade
