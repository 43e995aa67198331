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

// Adds to each column's count whether its pixel lies within the tolerance of a level.
template <typename Pixel>
void AddFlat(const Pixel* pixels, int columns, int level, int tolerance, int* counts) {
  for (int x = 0; x < columns; ++x) counts[x] += std::abs(pixels[x] - level) <= tolerance ? 1 : 0;
}

// The picture as seen from one side: lines at a depth from it. Of each, every so many pixels.
class LinesFrom {
 public:
  //   tolerance   of what has the border's colour: the level that half of its pixels do not reach
  LinesFrom(const cv::Mat& luma, Side side, double tolerance)
      : luma_(luma),
        is_row_(side == Side::kTop || side == Side::kBottom),
        is_first_(side == Side::kTop || side == Side::kLeft),
        tolerance_(static_cast<int>(std::floor(tolerance))),
        level_(luma.depth() == CV_8U ? LevelOf<std::uint8_t>() : LevelOf<std::uint16_t>()) {}

  // How many there are.
  [[nodiscard]] int Depth() const { return is_row_ ? luma_.rows : luma_.cols; }

  // Share of a line's pixels that have the border's colour.
  [[nodiscard]] double FlatShare(int depth) {
    const int flat =
        luma_.depth() == CV_8U ? CountFlat<std::uint8_t>(depth) : CountFlat<std::uint16_t>(depth);
    return static_cast<double>(flat) / static_cast<double>(Count());
  }

 private:
  // Columns are counted so many at once: their pixels lie side by side.
  static constexpr int kAtOnce = 32;

  [[nodiscard]] size_t Count() const {
    return static_cast<size_t>(((is_row_ ? luma_.cols : luma_.rows) + kEachPx - 1) / kEachPx);
  }
  [[nodiscard]] int At(int depth) const { return is_first_ ? depth : Depth() - 1 - depth; }

  template <typename Pixel>
  [[nodiscard]] int LevelOf() const {
    std::vector<Pixel> border;
    border.reserve(Count());
    const Pixel* pixel = is_row_ ? luma_.ptr<Pixel>(At(0)) : luma_.ptr<Pixel>(0) + At(0);
    const size_t step = kEachPx * (is_row_ ? 1 : luma_.step1());
    for (size_t i = 0; i < Count(); ++i) border.push_back(pixel[i * step]);
    const auto middle = border.begin() + static_cast<std::ptrdiff_t>(border.size() / 2);
    std::nth_element(border.begin(), middle, border.end());
    return *middle;
  }

  template <typename Pixel>
  [[nodiscard]] int CountFlat(int depth) {
    const int at = At(depth);
    if (is_row_) {
      const auto* pixels = luma_.ptr<Pixel>(at);
      int flat = 0;
      for (int x = 0; x < luma_.cols; x += kEachPx)
        AddFlat(pixels + x, 1, level_, tolerance_, &flat);
      return flat;
    }
    const int first = at - at % kAtOnce;
    if (first != counted_from_) {
      counted_from_ = first;
      counts_ = {};
      const int columns = std::min(kAtOnce, luma_.cols - first);
      for (int y = 0; y < luma_.rows; y += kEachPx) {
        AddFlat(luma_.ptr<Pixel>(y) + first, columns, level_, tolerance_, counts_.data());
      }
    }
    return counts_[static_cast<size_t>(at - first)];
  }

  const cv::Mat& luma_;
  bool is_row_;
  bool is_first_;
  int tolerance_;
  int level_;
  int counted_from_ = -1;
  std::array<int, kAtOnce> counts_{};
};

// How far the frame reaches from one side, pixels; 0 where there is none.
int FrameAt(const Frame& frame, Side side) {
  LinesFrom lines(frame.luma, side, kFlat * frame.white_level);
  const int most = static_cast<int>(kMostShare * lines.Depth());
  int depth = 0;
  while (depth < most && lines.FlatShare(depth) >= kLeastFlat) ++depth;
  if (depth < kLeastPx || depth == most) return 0;
  // A vignette, a round stop or glare fades, or ends at another place on every line.
  for (int soft = 0; soft <= kSoftPx; ++soft) {
    if (lines.FlatShare(depth + soft) <= kMostFlatWithin) return depth + soft;
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
