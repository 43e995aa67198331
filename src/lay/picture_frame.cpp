#include "endgrade/lay.h"
#include "lay/hide_blocks.h"

#include <algorithm>
#include <array>
#include <cmath>

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

// Pixels along a line at a depth from one side of the picture, of every so many.
std::vector<double> LineAt(const cv::Mat& luma, Side side, int depth) {
  const bool row = side == Side::kTop || side == Side::kBottom;
  const int across = row ? luma.rows : luma.cols;
  const bool first = side == Side::kTop || side == Side::kLeft;
  const int at = first ? depth : across - 1 - depth;
  std::vector<double> values;
  for (int i = 0; i < (row ? luma.cols : luma.rows); i += kEachPx) {
    const int y = row ? at : i;
    const int x = row ? i : at;
    values.push_back(luma.depth() == CV_8U ? luma.at<std::uint8_t>(y, x)
                                           : luma.at<std::uint16_t>(y, x));
  }
  return values;
}

double FlatShare(const std::vector<double>& line, double level, double tolerance) {
  const auto flat = std::count_if(
      line.begin(), line.end(), [&](double value) { return std::abs(value - level) <= tolerance; });
  return static_cast<double>(flat) / static_cast<double>(line.size());
}

// How far the frame reaches from one side, pixels; 0 where there is none.
int FrameAt(const Frame& frame, Side side) {
  const cv::Mat& luma = frame.luma;
  const bool row = side == Side::kTop || side == Side::kBottom;
  const int most = static_cast<int>(kMostShare * (row ? luma.rows : luma.cols));
  std::vector<double> border = LineAt(luma, side, 0);
  const auto middle = border.begin() + static_cast<std::ptrdiff_t>(border.size() / 2);
  std::nth_element(border.begin(), middle, border.end());
  const double level = *middle;
  const double tolerance = kFlat * frame.white_level;
  int depth = 0;
  while (depth < most && FlatShare(LineAt(luma, side, depth), level, tolerance) >= kLeastFlat) {
    ++depth;
  }
  if (depth < kLeastPx || depth == most) return 0;
  // A vignette, a round stop or glare fades, or ends at another place on every line.
  for (int soft = 0; soft <= kSoftPx; ++soft) {
    if (FlatShare(LineAt(luma, side, depth + soft), level, tolerance) <= kMostFlatWithin) {
      return depth + soft;
    }
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
