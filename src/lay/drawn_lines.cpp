#include "lay/drawn_lines.h"

#include "core/wide.h"
#include "flatten/cell_grid.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace endgrade {
namespace {

constexpr int kStretchPx = 32;         // along the line: averaged
constexpr int kReach = 4;              // to either side of it: where its profile is read
constexpr double kLeastLength = 0.15;  // of the picture, and in stretches:
constexpr int kLeastStretches = 5;
constexpr double kMostGap = 0.4;      // of the length: a reticle may be dashed, or leave its middle
constexpr double kLeastSigmas = 6.0;  // of what neighbouring rows differ by, of one stretch
constexpr double kLeastHeight = 1.2;  // grey levels of 255
constexpr double kLeastMean = 2.5;    // along all of it
constexpr double kMostOfBlur = 0.62;  // its width over that of a point
constexpr double kLeastStep = 0.62;   // from one row to the next, of its height, on either side
constexpr double kRest = 0.12;        // of its height: what compression leaves beside it
constexpr double kMostRows = 5;       // with that
// Wider, and a mark that matters could lie beneath it unseen: of a narrower line what is beside it
// shows it.
constexpr double kMostHiddenUm = 1.6;
constexpr size_t kMostLines = 6;  // of a reticle: more are rows of a screen or of a camera

template <typename Pixel>
[[gnu::always_inline]] inline void SumsAlong(const Pixel* row, int count, float scale, float* out) {
  for (int stretch = 0; stretch < count; ++stretch, row += kStretchPx) {
    std::uint32_t sum = 0;
    for (int i = 0; i < kStretchPx; ++i) sum += row[i];
    out[stretch] = scale * static_cast<float>(sum);
  }
}

template <typename Pixel>
[[gnu::always_inline]] inline void AddAcross(const Pixel* row, int count, std::uint32_t* sums) {
  for (int x = 0; x < count; ++x) sums[x] += row[x];
}

ENDGRADE_WIDE void SumRow(const std::uint8_t* row, int count, float scale, float* out) {
  SumsAlong(row, count, scale, out);
}
ENDGRADE_WIDE void SumRow(const std::uint16_t* row, int count, float scale, float* out) {
  SumsAlong(row, count, scale, out);
}
ENDGRADE_WIDE void AddRow(const std::uint8_t* row, int count, std::uint32_t* sums) {
  AddAcross(row, count, sums);
}
ENDGRADE_WIDE void AddRow(const std::uint16_t* row, int count, std::uint32_t* sums) {
  AddAcross(row, count, sums);
}

template <typename Pixel>
void SumStretches(const cv::Mat& luma, bool upright, float scale, cv::Mat* stretches) {
  if (!upright) {
    for (int y = 0; y < luma.rows; ++y) {
      SumRow(luma.ptr<Pixel>(y), stretches->cols, scale, stretches->ptr<float>(y));
    }
    return;
  }
  std::vector<std::uint32_t> sums(static_cast<size_t>(luma.cols));
  for (int stretch = 0; stretch < stretches->cols; ++stretch) {
    std::fill(sums.begin(), sums.end(), 0U);
    for (int i = 0; i < kStretchPx; ++i) {
      AddRow(luma.ptr<Pixel>(stretch * kStretchPx + i), luma.cols, sums.data());
    }
    for (int x = 0; x < luma.cols; ++x) {
      stretches->at<float>(x, stretch) = scale * static_cast<float>(sums[static_cast<size_t>(x)]);
    }
  }
}

// Mean brightness of stretches along the rows, or columns, of the part, one row each: CV_32FC1, in
// grey levels of 255.
cv::Mat Stretches(const Frame& frame, const cv::Rect& part, bool upright) {
  const int rows = upright ? part.width : part.height;
  const int count = (upright ? part.height : part.width) / kStretchPx;
  if (count == 0) return {};
  cv::Mat stretches(rows, count, CV_32FC1);
  const auto scale = static_cast<float>(255.0 / frame.white_level / kStretchPx);
  const cv::Mat luma = frame.luma(part);
  luma.depth() == CV_16U ? SumStretches<std::uint16_t>(luma, upright, scale, &stretches)
                         : SumStretches<std::uint8_t>(luma, upright, scale, &stretches);
  return stretches;
}

ENDGRADE_WIDE void StandOut(const float* row,
                            const float* above,
                            const float* below,
                            int count,
                            float* __restrict heights) {
  for (int i = 0; i < count; ++i) heights[i] = row[i] - 0.5F * (above[i] + below[i]);
}

// By how much each row stands out of those beside it, the nearest left out: a line may be two wide.
// 0 where there are none.
cv::Mat Heights(const cv::Mat& stretches) {
  cv::Mat heights = cv::Mat::zeros(stretches.size(), CV_32FC1);
  for (int row = 2; row + 2 < stretches.rows; ++row) {
    StandOut(stretches.ptr<float>(row),
             stretches.ptr<float>(row - 2),
             stretches.ptr<float>(row + 2),
             stretches.cols,
             heights.ptr<float>(row));
  }
  return heights;
}

// By stretch: what a row's height must exceed, by how much one row usually differs from those
// beside it.
std::vector<float> NeededHeights(const cv::Mat& heights) {
  cv::Mat by_stretch;
  cv::transpose(heights, by_stretch);
  std::vector<float> needed;
  std::vector<float> sizes;
  for (int stretch = 0; stretch < by_stretch.rows; ++stretch) {
    const auto* height = by_stretch.ptr<float>(stretch);
    sizes.clear();
    for (int row = kReach; row + kReach + 1 < by_stretch.cols; ++row) {
      sizes.push_back(std::abs(height[row]));
    }
    const double usual = 1.4826 * static_cast<double>(MedianOf(sizes));
    needed.push_back(static_cast<float>(std::max(kLeastHeight, kLeastSigmas * usual)));
  }
  return needed;
}

// How many stretches of a row stand out by more than they need to.
ENDGRADE_WIDE int CountHigh(const float* heights, const float* needed, int count) {
  int high = 0;
  for (int i = 0; i < count; ++i) high += std::abs(heights[i]) > needed[i] ? 1 : 0;
  return high;
}

// The sign by which the row stands out, by more than is needed and no less than those beside it: a
// bent border leaves the row. 0 where it does not.
int SignOf(const cv::Mat& heights, int row, int stretch, float needed) {
  const float height = heights.at<float>(row, stretch);
  if (std::abs(height) <= needed) return 0;
  const float sign = height < 0 ? -1.0F : 1.0F;
  const bool most = sign * height >= sign * heights.at<float>(row - 1, stretch) &&
                    sign * height >= sign * heights.at<float>(row + 1, stretch);
  return most ? static_cast<int>(sign) : 0;
}

// The stretches of a row in which something of this sign stands out, from the first to the last of
// the longest run that has not too many gaps; empty when that is no line.
cv::Range RunOf(const std::vector<int>& signs, int sign, int least) {
  cv::Range best(0, 0);
  const int count = static_cast<int>(signs.size());
  for (int first = 0; first < count; ++first) {
    if (signs[static_cast<size_t>(first)] != sign) continue;
    int on = 0;
    for (int last = first; last < count; ++last) {
      if (signs[static_cast<size_t>(last)] != sign) continue;
      ++on;
      const int length = last + 1 - first;
      if (length - on > kMostGap * length) break;
      if (length > best.size()) best = cv::Range(first, last + 1);
    }
  }
  return best.size() >= least ? best : cv::Range(0, 0);
}

// A grey line is darker than bright glass, and brighter than a dark ferrule: as far as it goes on,
// whichever it is.
cv::Range Lengthened(const std::vector<int>& signs, cv::Range run) {
  constexpr int kMostMissing = 2;  // stretches: where the two meet
  const int count = static_cast<int>(signs.size());
  const auto shows = [&](int stretch) { return signs[static_cast<size_t>(stretch)] != 0; };
  for (int i = run.end; i < count && i <= run.end + kMostMissing; ++i) {
    if (shows(i)) run.end = i + 1;
  }
  for (int i = run.start - 1; i >= 0 && i >= run.start - 1 - kMostMissing; --i) {
    if (shows(i)) run.start = i;
  }
  return run;
}

// Median brightness of the rows about a line over those kReach to either side.
std::vector<double> ProfileOf(const cv::Mat& stretches, int row, cv::Range run) {
  std::vector<double> profile;
  std::vector<float> values;
  for (int k = -kReach; k <= kReach + 1; ++k) {
    values.clear();
    for (int stretch = run.start; stretch < run.end; ++stretch) {
      const float beside = 0.5F * (stretches.at<float>(row - kReach, stretch) +
                                   stretches.at<float>(row + kReach + 1, stretch));
      values.push_back(stretches.at<float>(row + k, stretch) - beside);
    }
    profile.push_back(static_cast<double>(MedianOf(values)));
  }
  return profile;
}

// Full width at half maximum, read between the rows; of a line at profile[kReach].
double WidthOf(const std::vector<double>& profile, double height) {
  const auto share = [&](size_t i) { return profile[i] / height; };
  double width = 0;
  for (const int step : {-1, 1}) {
    size_t i = kReach + (step > 0 ? 1 : 0);
    if (step > 0 && share(i) < 0.5) i = kReach;
    while (i > 0 && i + 1 < profile.size() && share(i) >= 0.5) i += static_cast<size_t>(step);
    const size_t before = i - static_cast<size_t>(step);
    const double part = (share(before) - 0.5) / std::max(1e-9, share(before) - share(i));
    width += std::abs(static_cast<double>(before) - kReach) + std::clamp(part, 0.0, 1.0);
  }
  return width;
}

// The lesser of the two sides' greatest step from one row to the next, of the height: what is drawn
// ends from pixel to pixel, what the lens shows does not, however soft the rim that told its blur.
double SharpestStep(const std::vector<double>& profile, double height) {
  double lesser = 1.0;
  for (const int out : {-1, 1}) {
    double most = 0;
    for (int i = kReach + (out > 0 ? 0 : 1); std::abs(i - kReach) <= 2; i += out) {
      const auto from = static_cast<size_t>(i);
      most = std::max(most, (profile[from] - profile[from + static_cast<size_t>(out)]) / height);
    }
    lesser = std::min(lesser, most);
  }
  return lesser;
}

// Rows around the line that are not what is beside it.
cv::Range Covered(const std::vector<double>& profile, double height) {
  int first = kReach;
  int last = kReach;
  const auto differs = [&](int i) {
    return std::abs(profile[static_cast<size_t>(i)]) > kRest * std::abs(height);
  };
  while (first > 1 && differs(first - 1)) --first;
  while (last + 2 < static_cast<int>(profile.size()) && differs(last + 1)) ++last;
  return {first - kReach, last + 1 - kReach};
}

void FindAlong(const Frame& frame,
               const cv::Rect& part,
               bool upright,
               const Lens& lens,
               std::vector<DrawnLine>* found) {
  const cv::Mat stretches = Stretches(frame, part, upright);
  if (stretches.rows < 4 * kReach) return;
  const int length = upright ? frame.luma.rows : frame.luma.cols;
  const int least = std::max(kLeastStretches, static_cast<int>(kLeastLength * length / kStretchPx));
  if (stretches.cols < least) return;
  const cv::Mat heights = Heights(stretches);
  const std::vector<float> needed = NeededHeights(heights);
  const double most_rows = std::min(kMostRows, kMostHiddenUm / lens.um_per_px);
  std::vector<int> signs(needed.size());
  const double least_shown = (1.0 - kMostGap) * least;
  for (int row = kReach; row + kReach + 1 < stretches.rows; ++row) {
    if (CountHigh(heights.ptr<float>(row), needed.data(), heights.cols) < least_shown) continue;
    for (int stretch = 0; stretch < stretches.cols; ++stretch) {
      const auto i = static_cast<size_t>(stretch);
      signs[i] = SignOf(heights, row, stretch, needed[i]);
    }
    for (const int sign : {-1, 1}) {
      const auto shown = static_cast<int>(std::count(signs.begin(), signs.end(), sign));
      if (shown < least_shown) continue;
      const cv::Range run = RunOf(signs, sign, least);
      if (run.empty()) continue;
      const std::vector<double> profile = ProfileOf(stretches, row, run);
      const double height = profile[kReach];
      // Of two rows that are as high, the first.
      const bool highest = std::abs(height) > std::abs(profile[kReach - 1]) &&
                           std::abs(height) >= std::abs(profile[kReach + 1]);
      if (!highest || std::abs(height) < kLeastMean) continue;
      if (WidthOf(profile, height) > kMostOfBlur * lens.blur_fwhm_px) continue;
      if (SharpestStep(profile, height) < kLeastStep) continue;
      const cv::Range covered = Covered(profile, height);
      if (covered.size() > most_rows) continue;
      const cv::Range whole = Lengthened(signs, run);
      const cv::Point corner = part.tl();
      const int across = row + (upright ? corner.x : corner.y);
      const int along = upright ? corner.y : corner.x;
      found->push_back(
          {upright,
           {across + covered.start, across + covered.end},
           {along + kStretchPx * (whole.start - 1), along + kStretchPx * (whole.end + 1)}});
      break;  // with the other sign it is the same line
    }
  }
}

constexpr int kTickFromPx = 0;  // beside the line: where ticks are looked for
constexpr int kTickToPx = 1;
constexpr int kMostTickPx = 24;
constexpr int kLeastTicks = 4;  // of a scale
constexpr int kLeastTickApart = 8;
constexpr double kTickSigmas = 8.0;
constexpr double kTickShare = 0.4;  // of a tick's own height: where it still goes on

// Grey levels of 255 at a place along a line, so far across it.
class Beside {
 public:
  Beside(const Frame& frame, bool upright) : frame_(frame), upright_(upright) {}

  [[nodiscard]] bool Holds(int across, int along) const {
    const cv::Point at = upright_ ? cv::Point(across, along) : cv::Point(along, across);
    return cv::Rect({0, 0}, frame_.luma.size()).contains(at);
  }
  [[nodiscard]] double At(int across, int along) const {
    const int y = upright_ ? along : across;
    const int x = upright_ ? across : along;
    const double value = frame_.luma.depth() == CV_16U ? frame_.luma.at<std::uint16_t>(y, x)
                                                       : frame_.luma.at<std::uint8_t>(y, x);
    return value * 255.0 / frame_.white_level;
  }
  // By how much it stands out of what is two pixels off, along the line; 0 outside of the picture.
  [[nodiscard]] double HeightAt(int across, int along) const {
    if (!Holds(across, along - 3) || !Holds(across, along + 3)) return 0.0;
    return At(across, along) - 0.5 * (At(across, along - 2) + At(across, along + 2));
  }

 private:
  const Frame& frame_;
  bool upright_;
};

// The places whose neighbours are all as far apart as most are.
std::vector<int> EvenlySpaced(const std::vector<int>& places) {
  std::vector<int> gaps;
  for (size_t i = 1; i < places.size(); ++i) gaps.push_back(places[i] - places[i - 1]);
  if (gaps.empty()) return {};
  std::vector<int> sorted = gaps;
  std::sort(sorted.begin(), sorted.end());
  const int usual = sorted[sorted.size() / 2];
  const auto fits = [&](int gap) {
    const int times = (gap + usual / 2) / usual;
    return times >= 1 && std::abs(gap - times * usual) <= 1 + times;
  };
  std::vector<int> even;
  for (size_t i = 0; i < places.size(); ++i) {
    if ((i > 0 && fits(gaps[i - 1])) || (i < gaps.size() && fits(gaps[i]))) {
      even.push_back(places[i]);
    }
  }
  return usual >= kLeastTickApart ? even : std::vector<int>{};
}

// The ticks of a scale that cross the line, or stand on one side of it.
std::vector<DrawnLine> TicksOf(const Frame& frame, const DrawnLine& line) {
  const Beside beside(frame, line.upright);
  const int sides[2] = {line.across.start - 1, line.across.end};
  std::vector<DrawnLine> ticks;
  for (const int side : {0, 1}) {
    const int out = side == 0 ? -1 : 1;
    std::vector<float> heights;
    for (int along = line.along.start; along < line.along.end; ++along) {
      double sum = 0;
      for (int off = kTickFromPx; off <= kTickToPx; ++off) {
        sum += beside.HeightAt(sides[side] + out * off, along);
      }
      heights.push_back(static_cast<float>(sum / (kTickToPx - kTickFromPx + 1)));
    }
    std::vector<float> sizes(heights.size());
    std::transform(
        heights.begin(), heights.end(), sizes.begin(), [](float h) { return std::abs(h); });
    const double usual = 1.4826 * static_cast<double>(MedianOf(sizes));
    const double least = std::max(kLeastMean, kTickSigmas * usual);
    std::vector<int> places;
    constexpr size_t kEcho = 3;  // a tick stands lower in what is measured beside it
    for (size_t i = kEcho; i + kEcho < sizes.size(); ++i) {
      if (static_cast<double>(sizes[i]) < least) continue;
      const auto from = sizes.begin() + static_cast<std::ptrdiff_t>(i - kEcho);
      if (std::max_element(from, from + 2 * kEcho + 1) - from != kEcho) continue;
      places.push_back(line.along.start + static_cast<int>(i));
    }
    places = EvenlySpaced(places);
    if (static_cast<int>(places.size()) < kLeastTicks) continue;
    for (const int along : places) {
      const auto height =
          static_cast<double>(heights[static_cast<size_t>(along - line.along.start)]);
      int reach = kTickToPx;
      while (reach < kMostTickPx &&
             beside.HeightAt(sides[side] + out * (reach + 1), along) / height > kTickShare) {
        ++reach;
      }
      const int end = sides[side] + out * (reach + 2);
      ticks.push_back({!line.upright,
                       {along - 1, along + 2},
                       {std::min(sides[side], end), std::max(sides[side], end) + 1}});
    }
  }
  return ticks;
}

template <typename Pixel>
void FillIn(const DrawnLine& line, cv::Mat* luma) {
  const int count = line.across.size();
  const int before = line.across.start - 1;
  const int after = line.across.end;
  for (int at = line.along.start; at < line.along.end; ++at) {
    const auto pixel = [&](int across) -> Pixel& {
      return line.upright ? luma->at<Pixel>(at, across) : luma->at<Pixel>(across, at);
    };
    const double from = pixel(before);
    const double to = pixel(after);
    for (int i = 0; i < count; ++i) {
      const double share = (i + 1.0) / (count + 1.0);
      pixel(line.across.start + i) = cv::saturate_cast<Pixel>(from + share * (to - from));
    }
  }
}

}  // namespace

std::vector<DrawnLine> FindDrawnLines(const Frame& frame, cv::Rect part, const Lens& lens) {
  std::vector<DrawnLine> found;
  part &= cv::Rect({0, 0}, frame.luma.size());
  if (part.empty()) return found;
  for (const bool upright : {false, true}) FindAlong(frame, part, upright, lens, &found);
  const size_t lines = found.size();
  if (lines > kMostLines) return {};
  for (size_t i = 0; i < lines; ++i) {
    const std::vector<DrawnLine> ticks = TicksOf(frame, found[i]);
    found.insert(found.end(), ticks.begin(), ticks.end());
  }
  // What is beside a line must be there to be read.
  for (DrawnLine& line : found) {
    const int across = line.upright ? frame.luma.cols : frame.luma.rows;
    const int along = line.upright ? frame.luma.rows : frame.luma.cols;
    line.across = line.across & cv::Range(1, across - 1);
    line.along = line.along & cv::Range(0, along);
  }
  return found;
}

cv::Mat WithoutLines(const cv::Mat& luma, const std::vector<DrawnLine>& lines) {
  cv::Mat plain = luma.clone();
  // Ticks first: where one crosses its line, what is beside the line is the tick.
  for (auto line = lines.rbegin(); line != lines.rend(); ++line) {
    luma.depth() == CV_16U ? FillIn<std::uint16_t>(*line, &plain)
                           : FillIn<std::uint8_t>(*line, &plain);
  }
  return plain;
}

}  // namespace endgrade
