#include "endgrade/present.h"
#include "present/feature_marks.h"
#include "present/paint.h"
#include "tests/support/sample_grades.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include <cmath>
#include <limits>
#include <thread>

namespace endgrade {
namespace {

const cv::Size kFull(1920, 1080);  // shown one to one: pixels of the overlay are the photograph's

cv::Mat Overlay(const Frame& frame, const Grade& grade, const OverlayOptions& options = {}) {
  return DrawOverlay(frame, SampleLimits(), grade, options);
}

// A photograph whose every pixel differs from its neighbours.
Frame NoisyFrame(cv::Size size, int type = CV_8UC1) {
  Frame frame = SampleFrame(size);
  cv::Mat noise(size, type);
  cv::RNG rng(3);
  rng.fill(noise, cv::RNG::UNIFORM, 0, 256);
  if (type == CV_8UC3) {
    frame.colour = noise;
    cv::cvtColor(noise, frame.luma, cv::COLOR_BGR2GRAY);
  } else {
    frame.luma = noise;
  }
  return frame;
}

cv::Mat InColour(const cv::Mat& luma) {
  cv::Mat colour;
  cv::cvtColor(luma, colour, cv::COLOR_GRAY2BGR);
  return colour;
}

// 255 where two pictures of one size differ.
cv::Mat Changed(const cv::Mat& a, const cv::Mat& b) {
  cv::Mat difference, any;
  cv::absdiff(a, b, difference);
  cv::Mat channels[3];
  cv::split(difference, channels);
  any = channels[0] | channels[1] | channels[2];
  return any > 0;
}

bool Same(const cv::Mat& a, const cv::Mat& b) {
  return a.size() == b.size() && a.type() == b.type() && cv::norm(a, b, cv::NORM_INF) == 0;
}

// Features that a fibre of the sample's scale holds, over all zones and rings.
Grade ScatteredGrade(int count,
                     cv::Size picture,
                     double most_um,
                     double um_per_px = kSampleUmPerPx) {
  Grade grade = PassingGrade(picture);
  grade.fibres[0] = CleanFibre(picture, um_per_px);
  cv::RNG rng(5);
  for (int i = 0; i < count; ++i) {
    const double radius_um = 125 * std::sqrt(rng.uniform(0.0, 1.0));
    const double angle = rng.uniform(0.0, 2 * CV_PI);
    const cv::Point2d centre(radius_um * std::cos(angle), radius_um * std::sin(angle));
    Feature feature = RoundFeature(i + 1, centre, rng.uniform(0.5, most_um), 1);
    if (i % 3 == 0) feature.breaks = {"b-defects-over-5"};
    PutOnPicture(grade.fibres[0], std::move(feature));
  }
  return grade;
}

cv::Mat FeaturePixels(const Grade& grade, cv::Size picture) {
  cv::Mat mask = cv::Mat::zeros(picture, CV_8UC1);
  for (const Feature& feature : grade.fibres[0].features) {
    std::vector<cv::Point> corners;
    for (const cv::Point2d& p : feature.outline_px) corners.emplace_back(p * 16);
    cv::fillPoly(mask, std::vector{corners}, cv::Scalar(255), cv::LINE_8, 4);
  }
  return mask;
}

TEST(DrawOverlay, AddsAStripBelowAndKeepsThePhotographsWidth) {
  const cv::Mat overlay = Overlay(SampleFrame(kFull), FailingGrade(kFull));
  EXPECT_EQ(overlay.type(), CV_8UC3);
  EXPECT_EQ(overlay.cols, kFull.width);
  EXPECT_GT(overlay.rows, kFull.height + 200);
  EXPECT_LT(overlay.rows, kFull.height * 3 / 2);
}

TEST(DrawOverlay, LeavesThePhotographAloneWithoutAFibre) {
  const Frame frame = NoisyFrame(kFull);
  const cv::Mat overlay = Overlay(frame, GradeWithoutFibre());
  EXPECT_TRUE(Same(overlay.rowRange(0, kFull.height), InColour(frame.luma)));
}

TEST(DrawOverlay, ChangesNothingFarFromItsMarks) {
  const Frame frame = NoisyFrame(kFull);
  const Grade grade = FailingGrade(kFull);
  const cv::Mat overlay = Overlay(frame, grade);
  const cv::Mat changed = Changed(overlay.rowRange(0, kFull.height), InColour(frame.luma));
  EXPECT_GT(cv::countNonZero(changed), 0);
  // Marks: rings, outlines within 12 pixels of a feature, a number and a letter within 60 of
  // theirs.
  constexpr double kNear = 60;
  const Scale& scale = grade.fibres[0].scale;
  int stray = 0;
  for (int y = 0; y < changed.rows; ++y) {
    for (int x = 0; x < changed.cols; ++x) {
      if (changed.at<std::uint8_t>(y, x) == 0) continue;
      const cv::Point2d p_um = scale.ToUm(cv::Point2d(x, y));
      double away = 1e9;
      for (const double border_um : {12.5, 57.5, 67.5, 125.0}) {
        away = std::min(away, std::abs(std::hypot(p_um.x, p_um.y) - border_um) / scale.um_per_px);
      }
      for (const Feature& feature : grade.fibres[0].features) {
        const cv::Point2d d = cv::Point2d(x, y) - feature.centre_px;
        away = std::min(away, std::hypot(d.x, d.y) - feature.size_um / 2 / scale.um_per_px);
      }
      stray += away > kNear ? 1 : 0;
    }
  }
  EXPECT_EQ(stray, 0);
}

TEST(DrawOverlay, PaintsOverNoFeaturesPixels) {
  const Frame frame = NoisyFrame(kFull);
  for (const int count : {1, 30, 120}) {
    const Grade grade = ScatteredGrade(count, kFull, count > 100 ? 3 : 9);
    const cv::Mat overlay = Overlay(frame, grade);
    cv::Mat changed = Changed(overlay.rowRange(0, kFull.height), InColour(frame.luma));
    changed &= FeaturePixels(grade, kFull);
    // Of features that overlap, the larger one bears the smaller one's outline; none do here but
    // a few of the many.
    EXPECT_LE(cv::countNonZero(changed), count > 100 ? 1000 : 0) << count << " features";
  }
}

// Ring D runs through this feature: it stops there.
TEST(DrawOverlay, StopsARingAtAFeature) {
  Grade grade = PassingGrade(kFull);
  PutOnPicture(grade.fibres[0], RoundFeature(1, {-125, 0}, 30, 3));
  const Frame frame = NoisyFrame(kFull);
  const cv::Mat overlay = Overlay(frame, grade);
  cv::Mat changed = Changed(overlay.rowRange(0, kFull.height), InColour(frame.luma));
  changed &= FeaturePixels(grade, kFull);
  EXPECT_EQ(cv::countNonZero(changed), 0);
}

// How many pixels of the outline's colour a line to the left of a feature's centre meets.
int OutlineWidth(const cv::Mat& overlay, const Feature& feature, const Colour& colour) {
  int width = 0;
  for (int x = static_cast<int>(feature.centre_px.x) - 60; x < feature.centre_px.x; ++x) {
    const auto& pixel = overlay.at<cv::Vec3b>(static_cast<int>(feature.centre_px.y), x);
    width += cv::norm(pixel, colour, cv::NORM_INF) < 40 ? 1 : 0;
  }
  return width;
}

TEST(DrawOverlay, OutlinesWhatBreaksARuleAtLeastTwiceAsHeavily) {
  Grade grade = PassingGrade(kFull);
  Feature broken = RoundFeature(1, {-90, -20}, 8, 3);
  broken.breaks = {"d-anything"};
  PutOnPicture(grade.fibres[0], broken);
  PutOnPicture(grade.fibres[0], RoundFeature(2, {-90, 30}, 8, 3));
  for (const int level : {0, 110, 255}) {
    const cv::Mat overlay = Overlay(SampleFrame(kFull, level), grade);
    const auto& features = grade.fibres[0].features;
    const int heavy = OutlineWidth(overlay, features[0], BrokenColour());
    const int thin = OutlineWidth(overlay, features[1], AllowedColour());
    EXPECT_GE(thin, 1) << level;
    EXPECT_GE(heavy, 2 * thin) << level;
  }
}

double Luminance(const cv::Vec3b& bgr) {  // IEC 61966-2-1 (sRGB), relative luminance
  const auto linear = [](double v) {
    v /= 255;
    return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
  };
  return 0.2126 * linear(bgr[2]) + 0.7152 * linear(bgr[1]) + 0.0722 * linear(bgr[0]);
}

// WCAG 2.1, 1.4.11: graphics need a contrast of 3 to 1 with what is beside them. Without colour:
// the light line beside its dark rim, or the rim beside a bright picture.
TEST(DrawOverlay, OutlinesStandOutFromDarkGreyAndBrightPicturesWithoutColour) {
  Grade grade = PassingGrade(kFull);
  Feature broken = RoundFeature(1, {-90, -20}, 8, 3);
  broken.breaks = {"d-anything"};
  PutOnPicture(grade.fibres[0], broken);
  PutOnPicture(grade.fibres[0], RoundFeature(2, {-90, 30}, 8, 3));
  for (const int level : {0, 60, 110, 180, 255}) {
    const cv::Mat overlay = Overlay(SampleFrame(kFull, level), grade);
    for (const Feature& feature : grade.fibres[0].features) {
      double darkest = 1, brightest = 0;
      for (int x = 30; x > 0; --x) {
        const auto& pixel = overlay.at<cv::Vec3b>(static_cast<int>(feature.centre_px.y),
                                                  static_cast<int>(feature.centre_px.x) - x);
        darkest = std::min(darkest, Luminance(pixel));
        brightest = std::max(brightest, Luminance(pixel));
      }
      EXPECT_GT((brightest + 0.05) / (darkest + 0.05), 3.0) << level << ' ' << feature.id;
    }
  }
}

// The middle of the ring's light line, along eight directions, lies on the border to half a pixel.
TEST(DrawOverlay, RingsLieOnTheZonesBorders) {
  const Grade grade = PassingGrade(kFull);
  const cv::Mat overlay = Overlay(SampleFrame(kFull, 0), grade);
  const Scale& scale = grade.fibres[0].scale;
  for (const double radius_um : {57.5, 67.5, 125.0}) {
    for (int i = 0; i < 8; ++i) {
      const double angle = 2 * CV_PI * i / 8 + 0.1;
      double weight = 0, middle = 0;
      for (double r_px = radius_um / kSampleUmPerPx - 6; r_px < radius_um / kSampleUmPerPx + 6;
           r_px += 0.1) {
        const cv::Point2d p =
            scale.centre_px + r_px * cv::Point2d(std::cos(angle), std::sin(angle));
        const cv::Point pixel(static_cast<int>(std::lround(p.x)),
                              static_cast<int>(std::lround(p.y)));
        const double green = overlay.at<cv::Vec3b>(pixel)[1];
        weight += green;
        middle += green * r_px;
      }
      ASSERT_GT(weight, 0);
      EXPECT_NEAR(middle / weight, radius_um / kSampleUmPerPx, 0.5) << radius_um << ' ' << i;
    }
  }
}

// An oval cladding: the ring follows it, so that it stays beside the same places of the face.
TEST(DrawOverlay, RingsFollowPixelsThatAreNotSquare) {
  Grade grade = PassingGrade(kFull);
  Scale& scale = grade.fibres[0].scale;
  scale.um_from_px = cv::Matx22d(0.25, 0, 0, 0.3);
  const cv::Mat overlay = Overlay(SampleFrame(kFull, 0), grade);
  for (const cv::Point2d p_um : {cv::Point2d(-125, 0), cv::Point2d(0, 125)}) {
    const cv::Point2d p = scale.ToPx(p_um);
    const cv::Rect around(static_cast<int>(p.x) - 2, static_cast<int>(p.y) - 2, 5, 5);
    double brightest = 0;
    cv::minMaxLoc(overlay(around).clone().reshape(1), nullptr, &brightest);
    EXPECT_GT(brightest, 150);
  }
}

// The longest run of dark pixels in the strip's right part is the scale bar. It says 50 um here:
// 100 um would be 400 pixels, which leaves its label no room.
TEST(DrawOverlay, TheScaleBarIsAsLongAsItSays) {
  const cv::Mat overlay = Overlay(SampleFrame(kFull), PassingGrade(kFull));
  const cv::Mat strip = overlay.rowRange(kFull.height, overlay.rows);
  int longest = 0;
  for (int y = 0; y < strip.rows; ++y) {
    int run = 0;
    for (int x = strip.cols * 7 / 10; x < strip.cols; ++x) {
      run = strip.at<cv::Vec3b>(y, x)[1] < 100 ? run + 1 : 0;
      longest = std::max(longest, run);
    }
  }
  // Its round ends add the width of the line, 3.4 pixels, and nothing else.
  EXPECT_NEAR(longest, 50 / kSampleUmPerPx + 3.4, 2);
}

TEST(DrawOverlay, TellsVerdictsApartWithoutColour) {
  std::vector<double> grounds;
  for (const Grade& grade : {PassingGrade(kFull), FailingGrade(kFull), UngradableGrade(kFull)}) {
    const cv::Mat overlay = Overlay(SampleFrame(kFull), grade);
    // Just inside the badge's left edge: its ground.
    grounds.push_back(Luminance(overlay.at<cv::Vec3b>(kFull.height + 62, 30)));
  }
  EXPECT_LT(grounds[0], 0.5);
  EXPECT_LT(grounds[1], 0.5);
  EXPECT_GT(grounds[2], 0.6);
}

TEST(DrawOverlay, EnlargesByWholeNumbersAndReducesByArea) {
  struct Case {
    cv::Size picture, shown;
  };
  const OverlayOptions options;  // 1400 to 2600
  for (const Case& c : {Case{{60, 60}, {1440, 1440}},
                        Case{{640, 480}, {1920, 1440}},
                        Case{{1280, 960}, {2560, 1920}},
                        Case{{1920, 1080}, {1920, 1080}},
                        Case{{6000, 4000}, {2600, 1733}},
                        Case{{1, 1}, {1400, 1400}},
                        Case{{3, 3000}, {1040, 2600}}}) {
    const cv::Mat overlay = Overlay(NoisyFrame(c.picture), GradeWithoutFibre(), options);
    EXPECT_EQ(overlay.cols, c.shown.width) << c.picture;
    EXPECT_GT(overlay.rows, c.shown.height) << c.picture;
    EXPECT_LT(overlay.rows, c.shown.height + 24 * 40) << c.picture;
  }
  const Frame small = NoisyFrame({640, 480});
  const cv::Mat overlay = Overlay(small, GradeWithoutFibre());
  cv::Mat repeated;
  cv::resize(InColour(small.luma), repeated, {1920, 1440}, 0, 0, cv::INTER_NEAREST);
  EXPECT_TRUE(Same(overlay.rowRange(0, 1440), repeated));
}

TEST(DrawOverlay, ShowsSixteenBitsAndColour) {
  Frame deep = NoisyFrame(kFull);
  const cv::Mat eight_bit = deep.luma.clone();
  deep.luma.convertTo(deep.luma, CV_16U, 257);
  deep.white_level = 65535;
  EXPECT_TRUE(
      Same(Overlay(deep, GradeWithoutFibre()).rowRange(0, kFull.height), InColour(eight_bit)));
  const Frame colour = NoisyFrame(kFull, CV_8UC3);
  const cv::Mat before = colour.colour.clone();
  EXPECT_TRUE(Same(Overlay(colour, FailingGrade(kFull)).rowRange(0, 30), before.rowRange(0, 30)));
  EXPECT_TRUE(Same(colour.colour, before)) << "the frame itself was painted on";
}

TEST(DrawOverlay, MarksSmallAndLargePictures) {
  for (const cv::Size size : {cv::Size(60, 60), cv::Size(400, 1600), cv::Size(6000, 4000)}) {
    const double um_per_px = 260.0 / std::min(size.width, size.height);
    const Grade grade = ScatteredGrade(25, size, 20, um_per_px);
    const Frame frame = SampleFrame(size);
    Grade bare = grade;
    bare.fibres.clear();
    const cv::Mat marked = Overlay(frame, grade);
    const cv::Mat plain = Overlay(frame, bare);
    const int rows = std::min(marked.rows, plain.rows) * 3 / 4;
    const cv::Mat changed = Changed(marked.rowRange(0, rows), plain.rowRange(0, rows));
    EXPECT_GT(cv::countNonZero(changed), 2000) << size;
  }
}

TEST(DrawOverlay, DrawsThreeThousandFeatures) {
  const cv::Mat overlay = Overlay(SampleFrame(kFull), ScatteredGrade(3000, kFull, 3));
  EXPECT_EQ(overlay.cols, kFull.width);
  EXPECT_LT(overlay.rows, kFull.height * 3 / 2);
}

TEST(DrawOverlay, OutlinesAFeatureThatLiesOnAnother) {
  Grade alone = PassingGrade(kFull);
  PutOnPicture(alone.fibres[0], RoundFeature(1, {-80, 0}, 60, 3));
  Grade both = alone;
  Feature speck = RoundFeature(2, {-80, 0}, 8, 3);
  speck.breaks = {"d-anything"};
  PutOnPicture(both.fibres[0], speck);
  const cv::Mat film = Overlay(SampleFrame(kFull), alone).rowRange(0, kFull.height);
  const cv::Mat overlay = Overlay(SampleFrame(kFull), both).rowRange(0, kFull.height);
  const Feature& on_top = both.fibres[0].features[1];
  EXPECT_GE(OutlineWidth(overlay, on_top, BrokenColour()), 3);
  EXPECT_EQ(OutlineWidth(film, on_top, BrokenColour()), 0);
}

TEST(DrawOverlay, SurvivesWhatIsNoNumber) {
  const double nan = std::nan("");
  const double infinity = std::numeric_limits<double>::infinity();
  Grade grade = FailingGrade(kFull);
  Feature nowhere = RoundFeature(3, {nan, nan}, nan, -1);
  nowhere.centre_px = {nan, nan};
  nowhere.outline_px = {{nan, 1}, {infinity, 2}};
  Feature far = RoundFeature(4, {0, 0}, infinity, 9);
  far.outline_px = {{-1e12, -1e12}, {1e12, -1e12}, {1e12, -1e11}};
  Feature point = RoundFeature(5, {0, 0}, 0, 1);
  point.centre_px = {900, 500};
  grade.fibres[0].features.insert(grade.fibres[0].features.end(), {nowhere, far, point});
  EXPECT_FALSE(Overlay(SampleFrame(kFull), grade).empty());
  for (const double bad : {nan, infinity, 0.0, 1e-12}) {
    grade.fibres[0].scale.um_from_px = cv::Matx22d(bad, 0, 0, bad);
    grade.fibres[0].scale.um_per_px = bad;
    EXPECT_FALSE(Overlay(SampleFrame(kFull), grade).empty()) << bad;
  }
  EXPECT_FALSE(Overlay(Frame{}, GradeWithoutFibre()).empty());
}

TEST(DrawOverlay, FitsLongNamesAndManyReasons) {
  Frame frame = SampleFrame(kFull);
  frame.path = std::string(250, 'W') + "\n\xff\u65e5.png";
  Grade grade = FailingGrade(kFull);
  for (int i = 0; i < 40; ++i) {
    grade.reasons.push_back({"rule_broken", std::string(300, 'x') + " " + std::string(300, 'y')});
  }
  const cv::Mat overlay = Overlay(frame, grade);
  EXPECT_LT(overlay.rows, kFull.height * 3 / 2);
}

TEST(DrawOverlay, GivesTheSamePictureInEveryThread) {
  const Frame frame = NoisyFrame(kFull);
  const Grade grade = ScatteredGrade(60, kFull, 6);
  const cv::Mat once = Overlay(frame, grade);
  cv::Mat others[2];
  std::thread first([&] { others[0] = Overlay(frame, grade); });
  std::thread second([&] { others[1] = Overlay(frame, grade); });
  first.join();
  second.join();
  EXPECT_TRUE(Same(once, others[0]));
  EXPECT_TRUE(Same(once, others[1]));
}

}  // namespace
}  // namespace endgrade
