// A reticle's lines, which the camera draws, and scratches, which the lens shows.
#include "lay/drawn_lines.h"

#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kFwhmPerSigma = 2.3548;

Lens LensOf(const test::DrawnFace& face) {
  return {kFwhmPerSigma * face.blur_um / face.um_per_px, face.um_per_px};
}

std::vector<DrawnLine> Find(const test::DrawnFace& face, const Frame& frame) {
  return FindDrawnLines(frame, cv::Rect({0, 0}, frame.luma.size()), LensOf(face));
}

test::DrawnFace FaceWithBlur(double blur_um, std::uint64_t seed) {
  test::DrawnFace face;
  face.blur_um = blur_um;
  face.grain = 6.0;
  face.seed = seed;
  return face;
}

TEST(FindDrawnLines, FindsACrossAndLeavesThePictureBesideIt) {
  const test::DrawnFace face = FaceWithBlur(0.6, 31);
  const Frame plain = test::Draw(face).frame;
  Frame marked = plain;
  marked.luma = plain.luma.clone();
  cv::line(marked.luma, {0, 371}, {759, 371}, cv::Scalar(220));
  cv::line(marked.luma, {402, 60}, {402, 700}, cv::Scalar(20));
  const auto lines = Find(face, marked);
  ASSERT_EQ(lines.size(), 2U);
  EXPECT_FALSE(lines[0].upright);
  EXPECT_TRUE(lines[0].across.start <= 371 && lines[0].across.end > 371);
  EXPECT_TRUE(lines[1].upright);
  EXPECT_TRUE(lines[1].across.start <= 402 && lines[1].across.end > 402);
  const cv::Mat without = WithoutLines(marked.luma, lines);
  EXPECT_GT(cv::norm(marked.luma, plain.luma, cv::NORM_INF), 60.0);
  EXPECT_LT(cv::norm(without, plain.luma, cv::NORM_INF), 45.0);  // the rim is crossed
  EXPECT_LT(cv::norm(without, plain.luma, cv::NORM_L1) / (2 * 760 * 3), 6.0);
  EXPECT_EQ(Find(face, plain).size(), 0U);
}

TEST(FindDrawnLines, FindsTheTicksOfAScale) {
  const test::DrawnFace face = FaceWithBlur(0.6, 34);
  const Frame plain = test::Draw(face).frame;
  Frame marked = plain;
  marked.luma = plain.luma.clone();
  cv::line(marked.luma, {0, 300}, {759, 300}, cv::Scalar(220));
  for (int x = 30; x < 760; x += 50) {
    cv::line(marked.luma, {x, 296}, {x, 304}, cv::Scalar(220));
  }
  const auto lines = Find(face, marked);
  EXPECT_EQ(lines.size(), 1U + 2U * 15U);
  const cv::Mat without = WithoutLines(marked.luma, lines);
  EXPECT_LT(cv::norm(without, plain.luma, cv::NORM_INF), 45.0);
  // One speck beside a line is no tick.
  marked.luma = plain.luma.clone();
  cv::line(marked.luma, {0, 300}, {759, 300}, cv::Scalar(220));
  cv::circle(marked.luma, {200, 305}, 3, cv::Scalar(30), cv::FILLED);
  EXPECT_EQ(Find(face, marked).size(), 1U);
}

// Of one grey, between the glass's and the ferrule's.
TEST(FindDrawnLines, FollowsALineFromDarkerToBrighterSurroundings) {
  test::DrawnFace face = FaceWithBlur(0.6, 35);
  face.glass = 170;
  face.ferrule = 40;
  Frame frame = test::Draw(face).frame;
  cv::line(frame.luma, {0, 350}, {759, 350}, cv::Scalar(100));
  const auto lines = Find(face, frame);
  ASSERT_EQ(lines.size(), 1U);
  EXPECT_LE(lines[0].along.start, 0);
  EXPECT_GE(lines[0].along.end, 736);
}

TEST(FindDrawnLines, FindsADashedLineWithAGapInSixteenBits) {
  const test::DrawnFace face = FaceWithBlur(0.6, 32);
  Frame frame = test::Draw(face).frame;
  for (int x = 0; x < 760; ++x) {
    if (x % 8 < 6 && std::abs(x - 380) > 40) frame.luma.at<std::uint8_t>(200, x) = 245;
  }
  frame.luma.convertTo(frame.luma, CV_16U, 257.0);
  frame.white_level = 65535.0;
  const auto lines = Find(face, frame);
  ASSERT_EQ(lines.size(), 1U);
  EXPECT_LT(cv::mean(WithoutLines(frame.luma, lines).row(200))[0],
            cv::mean(frame.luma.row(200))[0]);
}

// However straight and upright, what the lens shows is no sharper than the lens.
TEST(FindDrawnLines, TakesNoScratchForOne) {
  for (const double width_um : {0.4, 1.0, 2.5}) {
    test::DrawnFace face = FaceWithBlur(0.6, 33);
    face.lines = {{{-140, 10.1}, {140, 10.1}, width_um, -0.5},
                  {{-20, -140}, {-20, 140}, width_um, 0.4}};
    const Frame frame = test::Draw(face).frame;
    EXPECT_EQ(Find(face, frame).size(), 0U) << width_um;
    // Nor where the rim is twice as soft as the lens.
    Lens softer = LensOf(face);
    softer.blur_fwhm_px *= 2.0;
    const cv::Rect whole({0, 0}, frame.luma.size());
    EXPECT_EQ(FindDrawnLines(frame, whole, softer).size(), 0U) << width_um;
  }
}

TEST(FindDrawnLines, FindsNoneOnCleanFaces) {
  for (std::uint64_t seed = 41; seed < 49; ++seed) {
    test::DrawnFace face = FaceWithBlur(seed % 2 == 0 ? 0.5 : 0.9, seed);
    face.noise = seed % 3 == 0 ? 6.0 : 1.0;
    face.rings = {{63.5, 1.5, -0.6}};
    EXPECT_EQ(Find(face, test::Draw(face).frame).size(), 0U) << seed;
  }
}

// Rows of a screen, or of a camera: to fill them all would hide the face.
TEST(FindDrawnLines, TakesNoRowsOfAPatternForAReticle) {
  const test::DrawnFace face = FaceWithBlur(0.6, 36);
  Frame frame = test::Draw(face).frame;
  for (int y = 100; y < 700; y += 50) cv::line(frame.luma, {0, y}, {759, y}, cv::Scalar(220));
  EXPECT_EQ(Find(face, frame).size(), 0U);
}

TEST(FindDrawnLines, LeavesALineThatCouldHideAMark) {
  const test::DrawnFace face = FaceWithBlur(0.6, 37);
  Frame frame = test::Draw(face).frame;
  cv::line(frame.luma, {0, 300}, {759, 300}, cv::Scalar(220));
  EXPECT_EQ(Find(face, frame).size(), 1U);
  Lens coarse = LensOf(face);
  coarse.um_per_px = 2.0;
  EXPECT_EQ(FindDrawnLines(frame, cv::Rect({0, 0}, frame.luma.size()), coarse).size(), 0U);
}

}  // namespace
}  // namespace endgrade
