#include "detect/line_profile.h"

#include "detect/line_trace.h"
#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>

namespace endgrade {
namespace {

constexpr double kNarrowest = 0.1;  // cells
constexpr int kFollowCells = 21;    // window along the line for the level of its sides

// Cumulative normal distribution from a table, straight between entries: 1e-6 off at most.
constexpr double kReachSigmas = 6.0;
double NormalCdf(double z) {
  constexpr double kReach = kReachSigmas;
  constexpr int kEntries = 2400;
  static const auto table = [] {
    std::array<double, kEntries + 2> t{};
    for (int i = 0; i < kEntries + 2; ++i) {
      const double at = (2.0 * i / kEntries - 1.0) * kReach;
      t[static_cast<size_t>(i)] = 0.5 * std::erfc(-at / std::numbers::sqrt2);
    }
    return t;
  }();
  const double place = (std::clamp(z, -kReach, kReach) / kReach + 1.0) * 0.5 * kEntries;
  const auto i = static_cast<size_t>(place);
  return table[i] + (place - static_cast<double>(i)) * (table[i + 1] - table[i]);
}

// A bar of unit height and width w, blurred.
double Bar(double offset, double width, double blur) {
  return NormalCdf((offset + 0.5 * width) / blur) - NormalCdf((offset - 0.5 * width) / blur);
}

struct BarFit {
  double amplitude = 0, base = 0, error = 1e300;
};

// Closed form for amplitude and base at a given width and centre.
BarFit FitBar(const LineProfile& profile, double width, double centre, double blur) {
  const auto& offsets = profile.offsets;
  const auto s1 = static_cast<double>(offsets.size());
  double sm = 0, smm = 0, sy = 0, smy = 0, syy = 0;
  for (const double y : profile.values) {
    sy += y;
    syy += y * y;
  }
  // Beyond its sides and the reach of the blur the bar is nothing.
  const double reach = 0.5 * width + kReachSigmas * blur;
  const auto first = std::lower_bound(offsets.begin(), offsets.end(), centre - reach);
  const auto last = std::upper_bound(first, offsets.end(), centre + reach);
  for (auto offset = first; offset != last; ++offset) {
    const double m = Bar(*offset - centre, width, blur);
    const double y = profile.values[static_cast<size_t>(offset - offsets.begin())];
    sm += m;
    smm += m * m;
    smy += m * y;
  }
  BarFit fit;
  const double det = s1 * smm - sm * sm;
  if (det <= 1e-12) return fit;
  fit.amplitude = (s1 * smy - sm * sy) / det;
  fit.base = (sy - fit.amplitude * sm) / s1;
  fit.error = std::max(0.0, syy - fit.amplitude * smy - fit.base * sy);
  return fit;
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

void ReadAcross(const cv::Mat& residual,
                const std::vector<cv::Point2d>& spine,
                double half,
                LineProfile* profile) {
  const int steps = static_cast<int>(std::ceil(half / profile->step_cells));
  for (int s = -steps; s <= steps; ++s) profile->offsets.push_back(s * profile->step_cells);
  cv::Mat strip = Straighten(residual, Resample(spine, 1.0), profile->offsets);
  profile->side_step = LevelSides(&strip);
  const cv::Mat columns = strip.t();
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
}

}  // namespace

double LineProfile::ModelAt(double offset_cells, double blur_cells) const {
  return amplitude * Bar(offset_cells - centre_cells, width_cells, blur_cells);
}

LineProfile MeasureProfile(const cv::Mat& residual,
                           const std::vector<cv::Point2d>& spine,
                           double blur_cells,
                           double half_width_cells) {
  LineProfile profile;
  const double blur = std::max(0.5, blur_cells);
  ReadAcross(residual, spine, half_width_cells, &profile);
  const size_t count = profile.values.size();

  const double middle = MiddleOf(profile, blur);
  const double widest = 1.4 * half_width_cells;
  std::vector<double> widths;
  for (double w = kNarrowest; w <= widest; w *= 1.08) widths.push_back(w);
  std::vector<double> errors(widths.size(), 1e300);
  BarFit best;
  for (size_t i = 0; i < widths.size(); ++i) {
    for (double centre = middle - 0.6; centre <= middle + 0.61; centre += 0.2) {
      const BarFit fit = FitBar(profile, widths[i], centre, blur);
      errors[i] = std::min(errors[i], fit.error);
      if (fit.error < best.error) {
        best = fit;
        profile.width_cells = widths[i];
        profile.centre_cells = centre;
      }
    }
  }
  profile.amplitude = best.amplitude;
  profile.peak = best.amplitude * Bar(0.0, profile.width_cells, blur);

  // Neighbouring offsets share the blur: about 2 blur / step of them make one independent value.
  const double shared = std::max(1.0, 2.0 * blur / profile.step_cells);
  const double freedom = std::max(1.0, (static_cast<double>(count) - 4.0) / shared);
  const double variance = best.error / std::max(1.0, static_cast<double>(count) - 4.0);
  // Every width weighs by how well it explains the profile, for a Gaussian error of an independent
  // value; the mean is the width, twice the spread its expanded uncertainty. A line narrower than
  // the blur can tell gets the middle of what is possible.
  double total = 0;
  double mean = 0;
  double square = 0;
  const double unit = std::max(1e-12, 2.0 * variance * shared * (1.0 + 2.0 / freedom));
  for (size_t i = 0; i < widths.size(); ++i) {
    const double weight = std::exp(-(errors[i] - best.error) / unit) * widths[i];  // d(width)
    total += weight;
    mean += weight * widths[i];
    square += weight * widths[i] * widths[i];
  }
  profile.width_cells = mean / total;
  profile.width_uncertainty_cells =
      2.0 * std::sqrt(std::max(0.0, square / total - profile.width_cells * profile.width_cells));
  profile.misfit = std::sqrt(variance) / std::max(1e-9, std::abs(profile.peak));
  return profile;
}

}  // namespace endgrade
