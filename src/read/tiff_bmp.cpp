#include "read/bmp_header.h"
#include "read/errors.h"
#include "read/pixels.h"
#include "read/raster_module.h"
#include "read/tiff_header.h"

#include <limits>

namespace endgrade::read {
namespace {

// Whether what came out is what the header, which the memory was granted for, had promised. A TIFF
// may have been turned.
bool IsAsPromised(const cv::Mat& pixels, std::int64_t width, std::int64_t height) {
  return (pixels.cols == width && pixels.rows == height) ||
         (pixels.cols == height && pixels.rows == width);
}

Result<cv::Mat> DecodeChecked(std::string_view bytes,
                              const std::string& kind,
                              std::int64_t width,
                              std::int64_t height) {
  // The module's library counts the bytes of a file in an int.
  if (bytes.size() > static_cast<std::size_t>(std::numeric_limits<int>::max())) {
    return Unsupported("a " + kind + " file of more than 2 GiB");
  }
  auto pixels = DecodeRaster(bytes, kind);
  if (pixels.ok() && !IsAsPromised(*pixels, width, height)) {
    return Damaged("the " + kind + " header and its pixels disagree");
  }
  return pixels;
}

}  // namespace

// What the decoder leaves to us was found by trying it: it multiplies straight alpha in at 8 bits
// but not at 16, and turns white-is-zero round at 8 bits but not at 16.
Result<Frame> DecodeTiff(std::string_view bytes, const ReadOptions& options) {
  const auto header = ReadTiffHeader(bytes, options);
  if (!header.ok()) return header.error();
  const auto pixels = DecodeChecked(bytes, "TIFF", header->width, header->height);
  if (!pixels.ok()) return pixels.error();
  cv::Mat samples = *pixels;
  const bool is_wide = samples.depth() == CV_16U;
  if (is_wide && header->photometric == 0) samples = cv::Scalar::all(65535) - samples;
  if (samples.channels() == 4 && !(is_wide && header->has_straight_alpha)) {
    samples = WithoutLastChannel(samples);
  }
  return FrameFromSamples(samples, options.colour);
}

// The fourth byte of a BMP's pixel is called reserved, and most programs leave it at zero.
Result<Frame> DecodeBmp(std::string_view bytes, const ReadOptions& options) {
  const auto header = ReadBmpHeader(bytes, options);
  if (!header.ok()) return header.error();
  const auto pixels = DecodeChecked(bytes, "BMP", header->width, header->height);
  if (!pixels.ok()) return pixels.error();
  return FrameFromSamples(pixels->channels() == 4 ? WithoutLastChannel(*pixels) : *pixels,
                          options.colour);
}

}  // namespace endgrade::read
