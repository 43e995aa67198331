// A file of any bytes as a photograph: JPEG, PNG, TIFF, BMP and what only starts like one.
#include "endgrade/read.h"

#include <cstdlib>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  endgrade::ReadOptions options;
  options.max_pixels = 1'000'000;
  options.colour = size % 2 == 0;
  const auto frame =
      endgrade::DecodeFrame({reinterpret_cast<const char*>(bytes), size}, "photograph", options);
  if (!frame.ok()) {
    if (frame.error().what.empty()) std::abort();
    return 0;
  }
  // What is read is as its contract says.
  if (frame->luma.empty() || frame->luma.channels() != 1) std::abort();
  if (frame->luma.total() > static_cast<std::size_t>(options.max_pixels)) std::abort();
  double least = 0;
  double most = 0;
  cv::minMaxLoc(frame->luma, &least, &most);
  if (most > frame->white_level) std::abort();
  if (options.colour && frame->colour.size() != frame->luma.size() && !frame->colour.empty()) {
    std::abort();
  }
  return 0;
}
