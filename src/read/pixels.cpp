#include "read/pixels.h"

#include <cstdint>
#include <limits>
#include <vector>

namespace endgrade::read {
namespace {

template <typename T>
void Composite(const cv::Mat& from, cv::Mat* to) {
  constexpr std::uint32_t kOpaque = std::numeric_limits<T>::max();
  const int channels = to->channels();
  for (int y = 0; y < from.rows; ++y) {
    const T* in = from.ptr<T>(y);
    T* out = to->ptr<T>(y);
    for (int x = 0; x < from.cols; ++x, in += channels + 1, out += channels) {
      const std::uint32_t alpha = in[channels];
      for (int c = 0; c < channels; ++c) {
        out[c] = static_cast<T>((in[c] * alpha + kOpaque / 2) / kOpaque);
      }
    }
  }
}

// Over black.
cv::Mat Opaque(const cv::Mat& samples) {
  if (samples.channels() == 1 || samples.channels() == 3) return samples;
  cv::Mat opaque(samples.size(), CV_MAKETYPE(samples.depth(), samples.channels() - 1));
  samples.depth() == CV_16U ? Composite<std::uint16_t>(samples, &opaque)
                            : Composite<std::uint8_t>(samples, &opaque);
  return opaque;
}

template <typename T>
void FillLuma(const cv::Mat& bgr, cv::Mat* luma) {
  for (int y = 0; y < bgr.rows; ++y) {
    const T* in = bgr.ptr<T>(y);
    T* out = luma->ptr<T>(y);
    for (int x = 0; x < bgr.cols; ++x, in += 3) {
      out[x] = static_cast<T>(Luma(in[0], in[1], in[2]));
    }
  }
}

// Cameras of 10, 12 and 14 bits often leave their values in the low bits of 16. White is the
// largest value of the fewest bits that hold the brightest sample, so that what the sensor clipped
// is known as clipped.
double WhiteLevel(const cv::Mat& samples) {
  if (samples.depth() == CV_8U) return 255.0;
  double brightest = 0;
  cv::minMaxLoc(samples.reshape(1), nullptr, &brightest);
  for (const double white : {255.0, 1023.0, 4095.0, 16383.0}) {
    if (brightest <= white) return white;
  }
  return 65535.0;
}

cv::Mat Colour8(const cv::Mat& samples, double white_level) {
  cv::Mat narrow = samples;
  if (samples.depth() == CV_16U) samples.convertTo(narrow, CV_8U, 255.0 / white_level);
  if (narrow.channels() == 3) return narrow;
  cv::Mat colour;
  cv::merge(std::vector<cv::Mat>(3, narrow), colour);
  return colour;
}

void Turn(int orientation, cv::Mat* image) {
  if (image->empty()) return;
  cv::Mat turned;
  switch (orientation) {
    case 2:
      cv::flip(*image, turned, 1);
      break;
    case 3:
      cv::rotate(*image, turned, cv::ROTATE_180);
      break;
    case 4:
      cv::flip(*image, turned, 0);
      break;
    case 5:
      cv::transpose(*image, turned);
      break;
    case 6:
      cv::rotate(*image, turned, cv::ROTATE_90_CLOCKWISE);
      break;
    case 7:
      cv::transpose(*image, turned);
      cv::flip(turned, turned, -1);
      break;
    case 8:
      cv::rotate(*image, turned, cv::ROTATE_90_COUNTERCLOCKWISE);
      break;
    default:
      return;
  }
  *image = turned;
}

}  // namespace

Frame FrameFromSamples(const cv::Mat& samples, bool colour) {
  const cv::Mat opaque = Opaque(samples);
  Frame frame;
  frame.white_level = WhiteLevel(opaque);
  if (opaque.channels() == 1) {
    frame.luma = opaque;
  } else {
    frame.luma.create(opaque.size(), CV_MAKETYPE(opaque.depth(), 1));
    opaque.depth() == CV_16U ? FillLuma<std::uint16_t>(opaque, &frame.luma)
                             : FillLuma<std::uint8_t>(opaque, &frame.luma);
  }
  if (colour) frame.colour = Colour8(opaque, frame.white_level);
  return frame;
}

cv::Mat WithoutLastChannel(const cv::Mat& samples) {
  const int kept = samples.channels() - 1;
  cv::Mat fewer(samples.size(), CV_MAKETYPE(samples.depth(), kept));
  std::vector<int> pairs;
  for (int c = 0; c < kept; ++c) pairs.insert(pairs.end(), {c, c});
  cv::mixChannels(&samples, 1, &fewer, 1, pairs.data(), static_cast<std::size_t>(kept));
  return fewer;
}

void TurnUpright(int orientation, Frame* frame) {
  Turn(orientation, &frame->luma);
  Turn(orientation, &frame->colour);
}

}  // namespace endgrade::read
