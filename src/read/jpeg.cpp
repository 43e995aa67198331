#include "read/jpeg.h"

#include "core/wide.h"
#include "read/errors.h"
#include "read/exif.h"
#include "read/jpeg_decoder.h"
#include "read/picture_size.h"
#include "read/pixels.h"

#include <opencv2/core/hal/intrin.hpp>

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::read {
namespace {

cv::Size SizeOf(const JpegDecoder& decoder) {
  return {static_cast<int>(decoder.state().image_width),
          static_cast<int>(decoder.state().image_height)};
}

// A Huffman code has at least one bit, and a picture at least one code a block of 64 samples: a
// file with fewer bytes cannot hold what its header promises, and no memory is taken for it.
bool IsTooShort(const jpeg_decompress_struct& jpeg, std::size_t num_bytes) {
  if (jpeg.arith_code != FALSE) return false;
  std::uint64_t blocks = 0;
  for (int i = 0; i < jpeg.num_components; ++i) {
    blocks += std::uint64_t{jpeg.comp_info[i].width_in_blocks} * jpeg.comp_info[i].height_in_blocks;
  }
  return num_bytes < blocks / 8;
}

int OrientationOf(const JpegDecoder& decoder) {
  for (auto* marker = decoder.state().marker_list; marker != nullptr; marker = marker->next) {
    const std::string_view segment(reinterpret_cast<const char*>(marker->data),
                                   marker->data_length);
    if (segment.starts_with(ExifHeader())) return ExifOrientation(segment);
  }
  return 1;
}

std::uint8_t Clipped(int value) { return static_cast<std::uint8_t>(std::clamp(value, 0, 255)); }

// JFIF's equations in libjpeg's fixed point, one plane each.
struct Planes {
  static constexpr std::size_t kRoom = 64;  // pixels
  std::array<std::uint8_t, kRoom> y, cb, cr;
  std::array<std::uint8_t, kRoom> blue, green, red;
};

ENDGRADE_WIDE void Convert(Planes* planes) {
  constexpr int kHalf = 1 << 15;
  for (std::size_t i = 0; i < Planes::kRoom; ++i) {
    const int y = planes->y[i];
    const int cb = planes->cb[i] - 128;
    const int cr = planes->cr[i] - 128;
    planes->blue[i] = Clipped(y + ((116130 * cb + kHalf) >> 16));                // 1.772
    planes->green[i] = Clipped(y + ((-22554 * cb - 46802 * cr + kHalf) >> 16));  // 0.34414, 0.71414
    planes->red[i] = Clipped(y + ((91881 * cr + kHalf) >> 16));                  // 1.402
  }
}

// Brightness, and blue, green and red, of pixels that fill the planes.
void FillBlock(const std::uint8_t* ycc, Planes* planes, std::uint8_t* luma, std::uint8_t* bgr) {
  constexpr std::size_t kAtOnce = cv::v_uint8x16::nlanes;
  for (std::size_t i = 0; i < Planes::kRoom; i += kAtOnce) {
    cv::v_uint8x16 y, cb, cr;
    cv::v_load_deinterleave(ycc + 3 * i, y, cb, cr);
    cv::v_store(luma + i, y);
    cv::v_store(&planes->y[i], y);
    cv::v_store(&planes->cb[i], cb);
    cv::v_store(&planes->cr[i], cr);
  }
  Convert(planes);
  for (std::size_t i = 0; i < Planes::kRoom; i += kAtOnce) {
    cv::v_store_interleave(bgr + 3 * i,
                           cv::v_load(&planes->blue[i]),
                           cv::v_load(&planes->green[i]),
                           cv::v_load(&planes->red[i]));
  }
}

void FillRow(const std::uint8_t* ycc, std::size_t width, std::uint8_t* luma, std::uint8_t* bgr) {
  Planes planes{};
  std::size_t x = 0;
  for (; x + Planes::kRoom <= width; x += Planes::kRoom) {
    FillBlock(ycc + 3 * x, &planes, luma + x, bgr + 3 * x);
  }
  if (x == width) return;
  // What is left of the row, as a block of its own.
  const std::size_t left = width - x;
  std::array<std::uint8_t, 3 * Planes::kRoom> in{};
  std::array<std::uint8_t, 3 * Planes::kRoom> colour;
  std::array<std::uint8_t, Planes::kRoom> brightness;
  std::copy_n(ycc + 3 * x, 3 * left, in.begin());
  FillBlock(in.data(), &planes, brightness.data(), colour.data());
  std::copy_n(brightness.begin(), left, luma + x);
  std::copy_n(colour.begin(), 3 * left, bgr + 3 * x);
}

// The first of a block's 64 coefficients is 8 times its mean brightness (ITU-T T.81, A.3.3): the
// step to which it is rounded, over 8, is the mean's.
double BlockStep(const jpeg_decompress_struct& jpeg) {
  const int table = jpeg.num_components > 0 ? jpeg.comp_info[0].quant_tbl_no : 0;
  if (table < 0 || table >= NUM_QUANT_TBLS || jpeg.quant_tbl_ptrs[table] == nullptr) return 0.0;
  return jpeg.quant_tbl_ptrs[table]->quantval[0] / 8.0;
}

// Brightness straight into the frame, without touching colour.
Result<Frame> DecodeLuma(JpegDecoder& decoder) {
  Frame frame;
  frame.luma.create(SizeOf(decoder), CV_8UC1);
  if (!decoder.Start(JCS_GRAYSCALE) ||
      !decoder.ReadRows(frame.luma.data, frame.luma.step, frame.luma.rows) || !decoder.Finish()) {
    return decoder.problem();
  }
  return frame;
}

Result<Frame> DecodeLumaAndColour(JpegDecoder& decoder) {
  Frame frame;
  frame.luma.create(SizeOf(decoder), CV_8UC1);
  frame.colour.create(SizeOf(decoder), CV_8UC3);
  std::vector<std::uint8_t> row(3 * static_cast<std::size_t>(frame.luma.cols));
  if (!decoder.Start(JCS_YCbCr)) return decoder.problem();
  for (int y = 0; y < frame.luma.rows; ++y) {
    if (!decoder.ReadRows(row.data(), row.size(), 1)) return decoder.problem();
    FillRow(row.data(),
            static_cast<std::size_t>(frame.luma.cols),
            frame.luma.ptr(y),
            frame.colour.ptr(y));
  }
  if (!decoder.Finish()) return decoder.problem();
  return frame;
}

Result<cv::Mat> DecodeSamples(JpegDecoder& decoder, J_COLOR_SPACE out, int type) {
  cv::Mat samples(SizeOf(decoder), type);
  if (!decoder.Start(out) || !decoder.ReadRows(samples.data, samples.step, samples.rows) ||
      !decoder.Finish()) {
    return decoder.problem();
  }
  return samples;
}

// Inks to light, as djpeg does: what an ink lets through times what black lets through. Files with
// Adobe's marker store what is let through, others the ink.
cv::Mat BgrFromCmyk(const cv::Mat& cmyk, bool stores_ink) {
  cv::Mat bgr(cmyk.size(), CV_8UC3);
  const unsigned int flip = stores_ink ? 255 : 0;
  for (int y = 0; y < cmyk.rows; ++y) {
    const std::uint8_t* in = cmyk.ptr(y);
    std::uint8_t* out = bgr.ptr(y);
    for (int x = 0; x < cmyk.cols; ++x, in += 4, out += 3) {
      const unsigned int black = in[3] ^ flip;
      for (int c = 0; c < 3; ++c) {
        out[c] = static_cast<std::uint8_t>(((in[2 - c] ^ flip) * black + 127) / 255);
      }
    }
  }
  return bgr;
}

Result<Frame> DecodeByColourSpace(JpegDecoder& decoder, bool colour) {
  switch (decoder.state().jpeg_color_space) {
    case JCS_YCbCr:
      return colour ? DecodeLumaAndColour(decoder) : DecodeLuma(decoder);
    case JCS_GRAYSCALE: {
      auto samples = DecodeSamples(decoder, JCS_GRAYSCALE, CV_8UC1);
      if (!samples.ok()) return samples.error();
      return FrameFromSamples(*samples, colour);
    }
    case JCS_RGB: {
      auto samples = DecodeSamples(decoder, JCS_EXT_BGR, CV_8UC3);
      if (!samples.ok()) return samples.error();
      return FrameFromSamples(*samples, colour);
    }
    case JCS_CMYK:
    case JCS_YCCK: {
      const bool stores_ink = decoder.state().saw_Adobe_marker == FALSE;
      auto samples = DecodeSamples(decoder, JCS_CMYK, CV_8UC4);
      if (!samples.ok()) return samples.error();
      return FrameFromSamples(BgrFromCmyk(*samples, stores_ink), colour);
    }
    default:
      return Unsupported("a JPEG of " + std::to_string(decoder.state().num_components) +
                         " channels, whose meaning is not known");
  }
}

}  // namespace

Result<Frame> DecodeJpeg(std::string_view bytes, const ReadOptions& options) {
  JpegDecoder decoder(bytes);
  if (!decoder.ReadHeader()) return decoder.problem();
  const auto& header = decoder.state();
  if (auto problem = SizeProblem(header.image_width, header.image_height, options)) {
    return *problem;
  }
  if (IsTooShort(header, bytes.size())) return CutShort("JPEG");
  const int orientation = OrientationOf(decoder);
  const double block_step = BlockStep(header);  // the tables are gone once the picture is read
  auto frame = DecodeByColourSpace(decoder, options.colour);
  if (!frame.ok()) return frame;
  frame->block_step = block_step;
  TurnUpright(orientation, &*frame);
  return frame;
}

}  // namespace endgrade::read
