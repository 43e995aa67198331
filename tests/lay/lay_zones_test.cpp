#include "endgrade/lay.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace endgrade {
namespace {

Scale PlainScale(cv::Point2d centre_px, double um_per_px) {
  Scale scale;
  scale.centre_px = centre_px;
  scale.um_per_px = um_per_px;
  scale.um_from_px = cv::Matx22d::eye() * um_per_px;
  return scale;
}

TEST(ZoneAt, GivesABorderToTheOuterZone) {
  // Edition 2 (2015) borders of single-mode zones: 25, 115, 135, 250 um.
  const Limits limits = test::ShippedLimits("sm-upc");
  EXPECT_EQ(ZoneAt(limits, 0.0), 0);
  EXPECT_EQ(ZoneAt(limits, 12.499), 0);
  EXPECT_EQ(ZoneAt(limits, 12.5), 1);
  EXPECT_EQ(ZoneAt(limits, 57.5), 2);
  EXPECT_EQ(ZoneAt(limits, 67.5), 3);
  EXPECT_EQ(ZoneAt(limits, 125.0), -1);
}

TEST(LayZones, CoversTheAreaOfEachZone) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const ZoneMap map = LayZones({900, 900}, PlainScale({449.5, 449.5}, 0.3), limits);
  const int core = cv::countNonZero(map.labels == 0);
  const double area_px = CV_PI * 12.5 * 12.5 / (0.3 * 0.3);
  EXPECT_NEAR(core / area_px, 1.0, 0.01);  // a pixel's width along the border
  for (const double fraction : map.in_view_fraction) EXPECT_EQ(fraction, 1.0);
}

TEST(LayZones, SeesHalfOfAFaceThatIsCutThroughItsMiddle) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const ZoneMap map = LayZones({900, 900}, PlainScale({-0.5, 449.5}, 0.3), limits);
  for (const double fraction : map.in_view_fraction) EXPECT_NEAR(fraction, 0.5, 0.01);
}

TEST(LayZones, SeesNothingOfAFaceBesideThePicture) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const ZoneMap map = LayZones({200, 200}, PlainScale({5000, 5000}, 0.3), limits);
  EXPECT_TRUE(map.roi_px.empty());
  for (const double fraction : map.in_view_fraction) EXPECT_EQ(fraction, 0.0);
}

Frame GreyFrame(int grey) {
  Frame frame;
  frame.luma = cv::Mat(900, 900, CV_8UC1, cv::Scalar(grey));
  return frame;
}

TEST(HideFieldStop, TakesWhatARoundMaskHidesOutOfView) {
  const Limits limits = test::ShippedLimits("sm-upc");
  Frame frame = GreyFrame(0);
  // A field of 240 um across about a face of 250: zone D is cut, the others are whole.
  cv::circle(frame.luma, {450, 450}, 400, cv::Scalar(120), cv::FILLED);
  const Scale scale = PlainScale({449.5, 449.5}, 0.3);
  ZoneMap map = LayZones(frame.luma.size(), scale, limits);
  HideFieldStop(frame, scale, &map);
  for (size_t i = 0; i < 3; ++i) EXPECT_EQ(map.in_view_fraction[i], 1.0);
  const double seen = (120.0 * 120.0 - 67.5 * 67.5) / (125.0 * 125.0 - 67.5 * 67.5);
  EXPECT_NEAR(map.in_view_fraction[3], seen, 0.03);
  EXPECT_TRUE(map.IsHidden({20, 20}));
  EXPECT_FALSE(map.IsHidden({450, 450}));
}

// A stop of luma 10, on which some light strays, and a ferrule of luma 10 around bright glass.
TEST(HideFieldStop, TellsAStopWithStrayLightFromADarkFerrule) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const Scale scale = PlainScale({449.5, 449.5}, 0.3);
  for (const int radius_px : {400, 208}) {
    Frame frame = GreyFrame(10);
    cv::circle(frame.luma, {450, 450}, radius_px, cv::Scalar(120), cv::FILLED);
    ZoneMap map = LayZones(frame.luma.size(), scale, limits);
    HideFieldStop(frame, scale, &map);
    EXPECT_EQ(map.hidden.empty(), radius_px == 208);
  }
}

// Light that fades towards the corners is no stop.
TEST(HideFieldStop, LeavesDimCornersAlone) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const Scale scale = PlainScale({449.5, 449.5}, 0.3);
  Frame frame = GreyFrame(0);
  for (int y = 0; y < 900; ++y) {
    for (int x = 0; x < 900; ++x) {
      const double off = std::hypot(x - 450, y - 450) / 636.0;
      frame.luma.at<uchar>(y, x) = cv::saturate_cast<uchar>(110.0 - 102.0 * off);
    }
  }
  ZoneMap map = LayZones(frame.luma.size(), scale, limits);
  HideFieldStop(frame, scale, &map);
  EXPECT_TRUE(map.hidden.empty());
}

// A picture of a screen: 50 pixels of one grey at the left and at the bottom, with writing on it.
TEST(HidePictureFrame, TakesAFrameOutOfView) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const Scale scale = PlainScale({449.5, 449.5}, 0.3);
  for (const int grey : {0, 128, 255}) {
    Frame frame = GreyFrame(90);
    cv::RNG(5).fill(frame.luma, cv::RNG::NORMAL, 90, 6);
    frame.luma.colRange(0, 50).setTo(grey);
    frame.luma.rowRange(850, 900).setTo(grey);
    cv::putText(frame.luma, "a name", {80, 880}, cv::FONT_HERSHEY_SIMPLEX, 0.6, cv::Scalar(200));
    ZoneMap map = LayZones(frame.luma.size(), scale, limits);
    HidePictureFrame(frame, &map);
    EXPECT_TRUE(map.IsHidden({20, 450}));
    EXPECT_TRUE(map.IsHidden({450, 890}));
    EXPECT_FALSE(map.IsHidden({60, 450}));
    EXPECT_FALSE(map.IsHidden({890, 450}));
    for (size_t i = 0; i < 3; ++i) EXPECT_EQ(map.in_view_fraction[i], 1.0);
    EXPECT_LT(map.in_view_fraction[3], 0.999);
  }
}

TEST(HidePictureFrame, LeavesAnEvenFerruleAndARoundStopAlone) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const Scale scale = PlainScale({449.5, 449.5}, 0.3);
  for (const int ferrule : {0, 60, 255}) {
    for (const int radius_px : {208, 420}) {
      Frame frame = GreyFrame(ferrule);
      cv::circle(frame.luma, {450, 450}, radius_px, cv::Scalar(130), cv::FILLED);
      ZoneMap map = LayZones(frame.luma.size(), scale, limits);
      HidePictureFrame(frame, &map);
      EXPECT_TRUE(map.hidden.empty()) << ferrule << " " << radius_px;
    }
  }
}

TEST(HideFieldStop, LeavesADarkFerruleAndABlackBlotchAlone) {
  const Limits limits = test::ShippedLimits("sm-upc");
  const Scale scale = PlainScale({449.5, 449.5}, 0.3);
  for (Frame frame : {GreyFrame(12), GreyFrame(120)}) {
    cv::circle(frame.luma, {450, 700}, 60, cv::Scalar(0), cv::FILLED);
    ZoneMap map = LayZones(frame.luma.size(), scale, limits);
    HideFieldStop(frame, scale, &map);
    EXPECT_TRUE(map.hidden.empty());
    for (const double fraction : map.in_view_fraction) EXPECT_EQ(fraction, 1.0);
  }
}

}  // namespace
}  // namespace endgrade
