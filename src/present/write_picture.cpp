#include "endgrade/present.h"
#include "present/encode.h"

#include <algorithm>
#include <cctype>

namespace endgrade {

Result<std::string> EncodePicture(const std::filesystem::path& path,
                                  const cv::Mat& picture,
                                  const std::string& evidence) {
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
  auto bytes =
      is_png ? EncodePng(picture, evidence) : EncodeJpeg(picture, kOverlayQuality, evidence);
  if (bytes.ok()) return bytes;
  Error error = bytes.error();
  error.file = path.string();
  return error;
}

std::optional<Error> WritePicture(const std::filesystem::path& path,
                                  const cv::Mat& picture,
                                  const std::string& evidence) {
  const auto bytes = EncodePicture(path, picture, evidence);
  if (!bytes.ok()) return bytes.error();
  return WriteFileSafely(path, *bytes);
}

}  // namespace endgrade
