#include "present/text_painter.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace endgrade {
namespace {

const TextStyle kStyle{24, false, kBlack};

cv::Rect InkBox(const std::string& text, const TextStyle& style) {
  TextPainter painter;
  cv::Mat picture(200, 1200, CV_8UC3, cv::Scalar::all(255));
  painter.Draw(picture, {50, 100}, text, style);
  cv::Mat grey;
  cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
  return cv::boundingRect(grey < 128);
}

// DejaVu Sans 2.37 by Pillow 9.4.0 (ImageFont.truetype at 2048 pixels, getbbox("H")): 2048 units an
// em, "H" 1493 high and 1540 wide.
TEST(TextPainter, HasTheMeasuresOfItsFont) {
  TextPainter painter;
  const TextStyle large{2048.0 / 8, false, kBlack};
  EXPECT_NEAR(painter.Width("H", large), 1540.0 / 8, 0.05);
  EXPECT_NEAR(painter.Width("HH", large), 2 * 1540.0 / 8, 0.1);
  // Light hinting stretches small letters, three quarters as high, to the next whole row.
  EXPECT_NEAR(painter.CapHeight(large), 1493.0 / 8, 1.34 + 0.5);
}

TEST(TextPainter, DrawsOnTheBaselineWithinTheAdvance) {
  const cv::Rect ink = InkBox("HOLD", kStyle);
  TextPainter painter;
  EXPECT_GE(ink.x, 50);
  EXPECT_LE(ink.br().x, 50 + painter.Width("HOLD", kStyle));
  EXPECT_NEAR(ink.br().y, 100, 1);
  EXPECT_GT(InkBox("HOLD", {24, true, kBlack}).width, ink.width);
}

TEST(TextPainter, DrawsSignsAndOtherScripts) {
  for (const char* text : {"\u00b5",
                           "\u2265",
                           "\u00b1",
                           "\u2714",
                           "\u2718",
                           "\u2026",
                           "\u00e9",
                           "\u0416",
                           "\u03a9",
                           "\u05d0"}) {
    EXPECT_GT(InkBox(text, kStyle).area(), 0) << text;
    EXPECT_GT(InkBox(text, {24, true, kBlack}).area(), 0) << text;
  }
  // What the font does not have is an empty box, not nothing.
  EXPECT_GT(InkBox("\u65e5", kStyle).area(), 0);
}

TEST(TextPainter, WrapsWithinTheWidthAndLosesNoWord) {
  TextPainter painter;
  const std::string text =
      "Check that the fibre carries no light, clean the face and inspect it again; " +
      std::string(90, 'w');
  for (const double width : {60.0, 200.0, 431.0, 5000.0}) {
    std::string joined;
    for (const std::string& line : painter.Wrap(text, kStyle, width)) {
      EXPECT_LE(painter.Width(line, kStyle), width) << line;
      joined += line;
    }
    const auto without_spaces = [](std::string s) {
      s.erase(std::remove(s.begin(), s.end(), ' '), s.end());
      return s;
    };
    EXPECT_EQ(without_spaces(joined), without_spaces(text));
  }
  EXPECT_TRUE(painter.Wrap("", kStyle, 100).empty());
  EXPECT_EQ(painter.Wrap("one two", kStyle, 5000), std::vector<std::string>{"one two"});
  EXPECT_EQ(painter.Wrap("\u00b5\u00b5", kStyle, 1),
            (std::vector<std::string>{"\u00b5", "\u00b5"}));
}

TEST(TextPainter, ElidesTheMiddleAndKeepsBothEnds) {
  TextPainter painter;
  const std::string name = "rack-2-panel-b-port-07-before-cleaning-and-after.jpg";
  EXPECT_EQ(painter.Elided(name, kStyle, 5000), name);
  const std::string shorter = painter.Elided(name, kStyle, 300);
  EXPECT_LE(painter.Width(shorter, kStyle), 300);
  EXPECT_GT(painter.Width(shorter, kStyle), 250);
  EXPECT_EQ(shorter.substr(0, 6), "rack-2");
  EXPECT_EQ(shorter.substr(shorter.size() - 4), ".jpg");
  EXPECT_EQ(painter.Elided(name, kStyle, 1), "\u2026");
}

TEST(TextPainter, DrawsPartlyOutsideThePicture) {
  TextPainter painter;
  cv::Mat picture(20, 20, CV_8UC3, cv::Scalar::all(255));
  for (const cv::Point2d at : {cv::Point2d(-30, 5), cv::Point2d(15, 30), cv::Point2d(5, -4)}) {
    painter.Draw(picture, at, "HOLD", kStyle);
    painter.DrawCased(picture, at, "HOLD", kStyle, 2);
  }
  EXPECT_EQ(picture.size(), cv::Size(20, 20));
}

}  // namespace
}  // namespace endgrade
