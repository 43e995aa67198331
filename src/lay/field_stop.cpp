#include "endgrade/lay.h"
#include "lay/hide_blocks.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kBlackShare = 0.03;    // of white: a stop is no brighter
constexpr double kStrayShare = 0.06;    // nor, with stray light on it, than this
constexpr double kLeastCorners = 2;     // of the picture's four that it must fill
constexpr double kMostOfPicture = 0.9;  // more is a dark picture, not a stop
constexpr double kFaceOverStop = 3.0;   // least ratio of what is inside the field to black

// Blocks that are black, as far as they hang together with the picture's border.
cv::Mat BlackFromBorder(const cv::Mat& blocks, double black) {
  cv::Mat dark = blocks <= black;
  cv::Mat labels;
  const int count = cv::connectedComponents(dark, labels, 4, CV_32S);
  std::vector<char> outside(static_cast<size_t>(count), 0);
  const auto mark = [&](int y, int x) {
    const int label = labels.at<int>(y, x);
    if (label > 0) outside[static_cast<size_t>(label)] = 1;
  };
  for (int x = 0; x < labels.cols; ++x) {
    mark(0, x);
    mark(labels.rows - 1, x);
  }
  for (int y = 0; y < labels.rows; ++y) {
    mark(y, 0);
    mark(y, labels.cols - 1);
  }
  cv::Mat stop = cv::Mat::zeros(labels.size(), CV_8UC1);
  for (int y = 0; y < labels.rows; ++y) {
    for (int x = 0; x < labels.cols; ++x) {
      const int label = labels.at<int>(y, x);
      if (label > 0 && outside[static_cast<size_t>(label)]) stop.at<uchar>(y, x) = 255;
    }
  }
  return stop;
}

int CornersIn(const cv::Mat& stop) {
  const int right = stop.cols - 1;
  const int bottom = stop.rows - 1;
  return (stop.at<uchar>(0, 0) ? 1 : 0) + (stop.at<uchar>(0, right) ? 1 : 0) +
         (stop.at<uchar>(bottom, 0) ? 1 : 0) + (stop.at<uchar>(bottom, right) ? 1 : 0);
}

struct Stop {
  cv::Mat hidden;  // CV_8UC1, 255 within; empty: none
  cv::Mat blocks;  // brightness
};

// In blocks of ZoneMap::kHiddenStep pixels, if what is no brighter than `black` is one.
Stop FindStop(const Frame& frame, double black) {
  constexpr int kStep = ZoneMap::kHiddenStep;
  const cv::Size size(frame.luma.cols / kStep, frame.luma.rows / kStep);
  if (size.width < 8 || size.height < 8) return {};
  const cv::Rect whole(0, 0, size.width * kStep, size.height * kStep);
  // Most pictures have bright corners: they are done here.
  const auto dark_corner = [&](int y, int x) {
    cv::Mat block;
    cv::resize(frame.luma(cv::Rect(x * kStep, y * kStep, kStep, kStep)),
               block,
               cv::Size(1, 1),
               0,
               0,
               cv::INTER_AREA);
    return cv::sum(block)[0] <= black ? 1 : 0;
  };
  const int dark_corners = dark_corner(0, 0) + dark_corner(0, size.width - 1) +
                           dark_corner(size.height - 1, 0) +
                           dark_corner(size.height - 1, size.width - 1);
  if (dark_corners < kLeastCorners) return {};
  cv::Mat blocks;
  cv::resize(frame.luma(whole), blocks, size, 0, 0, cv::INTER_AREA);
  cv::Mat stop = BlackFromBorder(blocks, black);
  if (CornersIn(stop) < kLeastCorners) return {};
  const double area =
      static_cast<double>(cv::countNonZero(stop)) / static_cast<double>(stop.total());
  if (area > kMostOfPicture) return {};
  if (cv::mean(blocks, stop == 0)[0] <
      kFaceOverStop * std::max(cv::mean(blocks, stop)[0], 0.3 * black)) {
    return {};
  }
  // Its edge is soft, and what lies beside it is half black.
  cv::dilate(stop, stop, cv::getStructuringElement(cv::MORPH_ELLIPSE, {3, 3}));
  return {stop, blocks};
}

// Light that fades towards the corners has no border.
bool EndsAbruptly(const Stop& stop, double black) {
  constexpr double kStep = 2.0;  // of what is black
  cv::Mat beside;
  cv::dilate(
      stop.hidden, beside, cv::getStructuringElement(cv::MORPH_ELLIPSE, {7, 7}), {-1, -1}, 1);
  return cv::mean(stop.blocks, beside & ~stop.hidden)[0] > kStep * black;
}

// A stop with stray light on it is told from a dark ferrule by where it begins: not at the glass.
bool ComesToGlass(const cv::Mat& stop, const Scale& scale) {
  constexpr double kBesideUm = 72.0;  // from the middle: past an adhesive ring
  constexpr double kMostShare = 0.2;
  constexpr int kDirections = 180;
  int seen = 0;
  int dark = 0;
  for (int i = 0; i < kDirections; ++i) {
    const double turn = 2.0 * CV_PI * i / kDirections;
    const cv::Point2d px = scale.ToPx(kBesideUm * cv::Point2d(std::cos(turn), std::sin(turn)));
    const cv::Point block(cvFloor(px.x / ZoneMap::kHiddenStep),
                          cvFloor(px.y / ZoneMap::kHiddenStep));
    if (!cv::Rect({0, 0}, stop.size()).contains(block)) continue;
    ++seen;
    dark += stop.at<uchar>(block) ? 1 : 0;
  }
  return dark > kMostShare * seen;
}

}  // namespace

void HideFieldStop(const Frame& frame, const Scale& scale, ZoneMap* zones) {
  const double stray = kStrayShare * frame.white_level;
  Stop stop = FindStop(frame, stray);
  if (stop.hidden.empty() || !EndsAbruptly(stop, stray) || ComesToGlass(stop.hidden, scale)) {
    stop = FindStop(frame, kBlackShare * frame.white_level);
  }
  if (stop.hidden.empty()) return;
  HideBlocks(stop.hidden, zones);
}

}  // namespace endgrade
