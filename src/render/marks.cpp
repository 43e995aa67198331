#include "render/develop.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade::render {
namespace {

void MaskRound(cv::Mat& picture, double diameter_px) {
  const double cx = 0.5 * (picture.cols - 1);
  const double cy = 0.5 * (picture.rows - 1);
  const int channels = picture.channels();
  for (int y = 0; y < picture.rows; ++y) {
    auto* row = picture.ptr<unsigned char>(y);
    for (int x = 0; x < picture.cols; ++x) {
      const double inside = diameter_px / 2 - std::hypot(x - cx, y - cy) + 0.5;
      if (inside >= 1) continue;
      for (int c = 0; c < channels; ++c) {
        row[x * channels + c] =
            static_cast<unsigned char>(row[x * channels + c] * std::max(0.0, inside));
      }
    }
  }
}

void DrawReticle(cv::Mat& picture) {
  const cv::Point middle(picture.cols / 2, picture.rows / 2);
  const cv::Scalar ink = cv::Scalar::all(215);
  const int arm = picture.rows / 2 - picture.rows / 30;
  cv::line(picture, middle - cv::Point(arm, 0), middle + cv::Point(arm, 0), ink, 1);
  cv::line(picture, middle - cv::Point(0, arm), middle + cv::Point(0, arm), ink, 1);
  const int step = std::max(8, picture.rows / 24);
  for (int at = -arm + arm % step; at <= arm; at += step) {
    cv::line(picture, middle + cv::Point(at, -3), middle + cv::Point(at, 3), ink, 1);
    cv::line(picture, middle + cv::Point(-3, at), middle + cv::Point(3, at), ink, 1);
  }
}

struct Lettering {
  double size;
  int thick;
  cv::Point at;
};

Lettering LetteringOf(cv::Size picture) {
  return {std::max(0.4, picture.height / 1100.0),
          picture.height > 1000 ? 2 : 1,
          {picture.width / 50, picture.height - picture.height / 40}};
}

void DrawCaption(cv::Mat& picture, const std::string& caption) {
  const auto [size, thick, at] = LetteringOf(picture.size());
  cv::putText(picture, caption, at, cv::FONT_HERSHEY_SIMPLEX, size, cv::Scalar::all(0), thick + 2);
  cv::putText(picture, caption, at, cv::FONT_HERSHEY_SIMPLEX, size, cv::Scalar::all(240), thick);
}

}  // namespace

cv::Rect CaptionBox(const SceneCamera& camera) {
  if (camera.caption.empty()) return {};
  const Lettering lettering = LetteringOf({camera.width_px, camera.height_px});
  int below = 0;
  const cv::Size box = cv::getTextSize(
      camera.caption, cv::FONT_HERSHEY_SIMPLEX, lettering.size, lettering.thick + 2, &below);
  return {lettering.at - cv::Point(2, box.height + 2), box + cv::Size(4, below + 4)};
}

void DrawMarks(cv::Mat& picture, const SceneCamera& camera) {
  if (camera.mask_diameter > 0) MaskRound(picture, camera.mask_diameter * picture.rows);
  if (camera.reticle) DrawReticle(picture);
  if (!camera.caption.empty()) DrawCaption(picture, camera.caption);
}

}  // namespace endgrade::render
