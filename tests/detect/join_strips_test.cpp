#include "detect/join_strips.h"

#include <gtest/gtest.h>

#include <vector>

namespace endgrade {
namespace {

ContrastMap BlankMap() {
  ContrastMap map;
  map.level = cv::Mat(200, 300, CV_32FC1, cv::Scalar(100.0F));
  map.residual = cv::Mat::zeros(200, 300, CV_32FC1);
  map.um_per_cell = 0.5;
  return map;
}

// Cells of [x0, x1) x [y0, y1).
Region Bar(int x0, int x1, int y0, int y1, double depth, bool is_line = false) {
  Region bar;
  for (int y = y0; y < y1; ++y) {
    for (int x = x0; x < x1; ++x) bar.cells.emplace_back(x, y);
  }
  bar.depth = depth;
  bar.snr = 20;
  bar.is_line = is_line;
  const double middle = 0.5 * (y0 + y1 - 1);
  if (is_line) bar.spine = {{static_cast<double>(x0), middle}, {x1 - 1.0, middle}};
  bar.line_width_cells = y1 - y0;
  return bar;
}

size_t Joined(std::vector<Region> lines, std::vector<Region> regions) {
  JoinStrips(BlankMap(), &lines, &regions);
  return lines.size() + regions.size();
}

TEST(JoinStrips, PutsAHairsBrightMiddleAndItsDarkFlankTogether) {
  std::vector<Region> lines = {Bar(20, 220, 100, 108, 30, true)};
  std::vector<Region> regions = {Bar(20, 200, 92, 100, -25)};
  JoinStrips(BlankMap(), &lines, &regions);
  EXPECT_TRUE(lines.empty());
  ASSERT_EQ(regions.size(), 1U);
  EXPECT_FALSE(regions[0].is_line);
  EXPECT_GE(regions[0].cells.size(), 200U * 8U + 180U * 8U);
}

TEST(JoinStrips, GoesOnWhereTheRimCutsAHair) {
  EXPECT_EQ(Joined({}, {Bar(20, 120, 100, 108, -30), Bar(123, 220, 101, 109, -25)}), 1U);
  EXPECT_EQ(Joined({}, {Bar(20, 120, 100, 108, -30), Bar(140, 240, 101, 109, -25)}), 2U);  // apart
  EXPECT_EQ(Joined({}, {Bar(20, 120, 100, 108, -30), Bar(123, 220, 101, 109, -8)}), 2U);  // fainter
}

TEST(JoinStrips, TakesTheOtherFlankWhereTheMiddleDoesNotShow) {
  EXPECT_EQ(Joined({Bar(30, 180, 112, 118, -25, true)}, {Bar(20, 200, 100, 107, -25)}), 1U);
}

TEST(JoinStrips, TakesTheBentEndsOfAThickHair) {
  const Region hair = Bar(60, 160, 100, 108, 30, true);
  const Region one = Bar(44, 60, 90, 106, 25);
  const Region other = Bar(160, 176, 102, 118, 25);
  EXPECT_EQ(Joined({hair}, {one, other}), 1U);
  EXPECT_EQ(Joined({hair}, {one}), 2U);  // a patch that a scratch ends at
}

TEST(JoinStrips, LeavesScratchesAndSpecksAlone) {
  // Bright beside dark, lines both: a wide scratch lit from one side.
  EXPECT_EQ(Joined({Bar(20, 220, 100, 106, 30, true), Bar(20, 220, 94, 100, -30, true)}, {}), 2U);
  // Two narrow ones.
  EXPECT_EQ(Joined({Bar(20, 220, 100, 102, 30, true)}, {Bar(20, 220, 98, 100, -30)}), 2U);
  // A speck that touches a scratch.
  EXPECT_EQ(Joined({Bar(20, 220, 100, 108, 30, true)}, {Bar(60, 76, 84, 100, -30)}), 2U);
}

}  // namespace
}  // namespace endgrade
