#include "endgrade/lay.h"
#include "lay/hide_blocks.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <vector>

namespace endgrade {
namespace {

constexpr double kFlat = 0.02;           // of white: a frame is of one colour, but for compression
constexpr double kLeastFlat = 0.8;       // of a line in the frame: there may be writing on it
constexpr double kMostFlatWithin = 0.3;  // of one within: nor is the picture of the frame's colour
constexpr int kSoftPx = 4;               // between the two
constexpr int kLeastPx = 3;              // of a frame; less is a camera's own first lines
constexpr double kMostShare = 0.3;       // of the picture's side
constexpr int kEachPx = 2;               // along a line

enum class Side { kTop, kBottom, kLeft, kRight };

// The picture as seen from one side: lines at a depth from it. Of each, every so many pixels.
class LinesFrom {
 public:
  LinesFrom(const cv::Mat& luma, Side side)
      : luma_(luma),
        is_row_(side == Side::kTop || side == Side::kBottom),
        is_first_(side == Side::kTop || side == Side::kLeft) {}

  // How many there are.
  [[nodiscard]] int Depth() const { return is_row_ ? luma_.rows : luma_.cols; }

  // Brightness that half of the outermost line's pixels do not reach.
  [[nodiscard]] double BorderLevel() const {
    return luma_.depth() == CV_8U ? LevelOf<std::uint8_t>() : LevelOf<std::uint16_t>();
  }

  // Share of a line's pixels that are no further from the level than the tolerance.
  [[nodiscard]] double FlatShare(int depth, double level, double tolerance) const {
    return luma_.depth() == CV_8U ? ShareOf<std::uint8_t>(depth, level, tolerance)
                                  : ShareOf<std::uint16_t>(depth, level, tolerance);
  }

 private:
  [[nodiscard]] size_t Count() const {
    return static_cast<size_t>(((is_row_ ? luma_.cols : luma_.rows) + kEachPx - 1) / kEachPx);
  }
  // Calls `take` with each pixel of a line.
  template <typename Pixel, typename Take>
  void Walk(int depth, const Take& take) const {
    const int at = is_first_ ? depth : Depth() - 1 - depth;
    const Pixel* pixel = is_row_ ? luma_.ptr<Pixel>(at) : luma_.ptr<Pixel>(0) + at;
    const size_t step = kEachPx * (is_row_ ? 1 : luma_.step1());
    for (size_t i = 0; i < Count(); ++i, pixel += step) take(*pixel);
  }
  template <typename Pixel>
  [[nodiscard]] double LevelOf() const {
    std::vector<Pixel> border;
    border.reserve(Count());
    Walk<Pixel>(0, [&](Pixel value) { border.push_back(value); });
    const auto middle = border.begin() + static_cast<std::ptrdiff_t>(border.size() / 2);
    std::nth_element(border.begin(), middle, border.end());
    return *middle;
  }
  template <typename Pixel>
  [[nodiscard]] double ShareOf(int depth, double level, double tolerance) const {
    // What lies within, as whole numbers; such is the level.
    const auto most = static_cast<int>(std::floor(tolerance));
    const auto middle = static_cast<int>(level);
    int flat = 0;
    Walk<Pixel>(depth, [&](Pixel value) { flat += std::abs(value - middle) <= most ? 1 : 0; });
    return static_cast<double>(flat) / static_cast<double>(Count());
  }

  const cv::Mat& luma_;
  bool is_row_;
  bool is_first_;
};

// How far the frame reaches from one side, pixels; 0 where there is none.
int FrameAt(const Frame& frame, Side side) {
  const LinesFrom lines(frame.luma, side);
  const int most = static_cast<int>(kMostShare * lines.Depth());
  const double level = lines.BorderLevel();
  const double tolerance = kFlat * frame.white_level;
  int depth = 0;
  while (depth < most && lines.FlatShare(depth, level, tolerance) >= kLeastFlat) ++depth;
  if (depth < kLeastPx || depth == most) return 0;
  // A vignette, a round stop or glare fades, or ends at another place on every line.
  for (int soft = 0; soft <= kSoftPx; ++soft) {
    if (lines.FlatShare(depth + soft, level, tolerance) <= kMostFlatWithin) return depth + soft;
  }
  return 0;
}

}  // namespace

void HidePictureFrame(const Frame& frame, ZoneMap* zones) {
  constexpr int kStep = ZoneMap::kHiddenStep;
  const cv::Size size(frame.luma.cols / kStep, frame.luma.rows / kStep);
  if (size.width < 8 || size.height < 8) return;
  const int top = FrameAt(frame, Side::kTop);
  const int bottom = FrameAt(frame, Side::kBottom);
  const int left = FrameAt(frame, Side::kLeft);
  const int right = FrameAt(frame, Side::kRight);
  if (top + bottom + left + right == 0) return;
  const auto blocks = [](int px) { return px > 0 ? (px + 1) / kStep + 1 : 0; };
  cv::Mat hidden(size, CV_8UC1, cv::Scalar(0));
  // Blocks that do not fit into the picture any more are the frame's, too.
  hidden.rowRange(0, blocks(top)).setTo(255);
  hidden.rowRange(size.height - blocks(bottom), size.height).setTo(255);
  hidden.colRange(0, blocks(left)).setTo(255);
  hidden.colRange(size.width - blocks(right), size.width).setTo(255);
  HideBlocks(hidden, zones);
}

}  // namespace endgrade
