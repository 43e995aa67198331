#include "read/picture_size.h"

#include "read/errors.h"

#include <string>

namespace endgrade::read {
namespace {

// Rows of eight bytes a pixel must stay well inside an int, as cv::Mat counts.
constexpr std::int64_t kMostAlongSide = 100'000'000;

}  // namespace

std::optional<Error> SizeProblem(std::int64_t width,
                                 std::int64_t height,
                                 const ReadOptions& options) {
  const std::string size = std::to_string(width) + " x " + std::to_string(height) + " pixels";
  if (width <= 0 || height <= 0) return Damaged("its header says " + size);
  if (width > kMostAlongSide || height > kMostAlongSide || width > options.max_pixels / height) {
    return Error{ErrorKind::kTooLarge,
                 "",
                 0,
                 "its header says " + size + ", and at most " + std::to_string(options.max_pixels) +
                     " are read",
                 "Crop it to the end face, or raise the limit on pixels"};
  }
  return std::nullopt;
}

}  // namespace endgrade::read
