#include "endgrade/present.h"
#include "present/encode.h"

#include <algorithm>
#include <cctype>

namespace endgrade {

std::optional<Error> WritePicture(const std::filesystem::path& path, const cv::Mat& picture) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(), [](unsigned char c) {
    return static_cast<char>(std::tolower(c));
  });
  const bool is_png = ending == ".png";
  if (!is_png && ending != ".jpg" && ending != ".jpeg") {
    return Error{ErrorKind::kUnsupported,
                 path.string(),
                 0,
                 "pictures are not written in this form",
                 "Give the name the ending .png or .jpg"};
  }
  auto bytes = is_png ? EncodePng(picture) : EncodeJpeg(picture);
  if (!bytes.ok()) {
    Error error = bytes.error();
    error.file = path.string();
    return error;
  }
  return WriteFileSafely(path, *bytes);
}

}  // namespace endgrade
