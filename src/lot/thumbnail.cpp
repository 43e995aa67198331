#include "lot/thumbnail.h"

#include "endgrade/read.h"
#include "present/encode.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade::lot {
namespace {

constexpr int kQuality = 60;  // 3 to 6 kB at 224 pixels

// The picture's part in `square` at side x side pixels; black where the square leaves the picture.
cv::Mat Cut(const cv::Mat& luma, cv::Rect square, int side) {
  const cv::Rect inside = square & cv::Rect(0, 0, luma.cols, luma.rows);
  cv::Mat small(side, side, luma.type(), cv::Scalar(0));
  if (inside.empty()) return small;
  const double scale = static_cast<double>(side) / square.width;
  const cv::Rect place(cvRound((inside.x - square.x) * scale),
                       cvRound((inside.y - square.y) * scale),
                       std::max(1, cvRound(inside.width * scale)),
                       std::max(1, cvRound(inside.height * scale)));
  const cv::Rect fits = place & cv::Rect(0, 0, side, side);
  if (fits.empty()) return small;
  cv::Mat scaled;
  cv::resize(
      luma(inside), scaled, fits.size(), 0, 0, scale < 1 ? cv::INTER_AREA : cv::INTER_LINEAR);
  scaled.copyTo(small(fits));
  return small;
}

// Empty where it cannot be written: the report then shows none.
std::string EncodeSmall(const cv::Mat& grey) {
  auto jpeg = EncodeJpeg(grey, kQuality);
  return jpeg.ok() ? *std::move(jpeg) : std::string();
}

cv::Rect Square(cv::Point2d centre, double half) {
  return {cvFloor(centre.x - half), cvFloor(centre.y - half), cvCeil(2 * half), cvCeil(2 * half)};
}

}  // namespace

Thumbnail MakeThumbnail(const cv::Mat& luma, double white_level, const Grade& grade) {
  if (luma.empty()) return {};
  cv::Point2d centre((luma.cols - 1) / 2.0, (luma.rows - 1) / 2.0);
  double half = std::max(luma.cols, luma.rows) / 2.0;
  Thumbnail thumbnail;
  if (!grade.fibres.empty()) {
    const Scale& scale = grade.fibres.front().scale;
    const double wanted = kThumbnailWidth_um / 2 / scale.um_per_px;
    const double most = 4.0 * std::max(luma.cols, luma.rows);
    if (std::isfinite(wanted) && wanted >= 1 && wanted < most) {
      centre = scale.centre_px;
      half = wanted;
      thumbnail.width_um = kThumbnailWidth_um;
    }
  }
  cv::Mat small = Cut(luma, Square(centre, half), kThumbnailSide_px);
  if (small.depth() != CV_8U) small.convertTo(small, CV_8U, 255.0 / white_level);
  thumbnail.jpeg = EncodeSmall(small);
  return thumbnail;
}

std::string Shrink(const std::string& jpeg, int side_px) {
  const auto frame = DecodeFrame(jpeg, "thumbnail");
  if (!frame.ok()) return "";
  cv::Mat small;
  cv::resize(frame->luma, small, {side_px, side_px}, 0, 0, cv::INTER_AREA);
  return EncodeSmall(small);
}

}  // namespace endgrade::lot
