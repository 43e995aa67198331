#include "detect/line_leftovers.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

ContrastMap Map() {
  ContrastMap map;
  map.um_per_cell = 0.5;
  map.blur_sigma_cells = 1.0;
  map.level = cv::Mat::zeros(200, 200, CV_32FC1);
  return map;
}

Region Line(cv::Point2d from, cv::Point2d to, double depth) {
  Region line;
  line.is_line = true;
  line.spine = {from, (from + to) * 0.5, to};
  line.depth = depth;
  line.line_width_cells = 2;
  return line;
}

Region Box(const cv::Rect& box, double depth) {
  Region region;
  for (int y = box.y; y < box.y + box.height; ++y) {
    for (int x = box.x; x < box.x + box.width; ++x) region.cells.emplace_back(x, y);
  }
  region.depth = depth;
  return region;
}

TEST(TakeInLeftovers, APieceOfTheLineBeyondItsEndIsTheLines) {
  std::vector<Region> lines = {Line({20, 100}, {100, 100}, -10)};
  std::vector<Region> regions = {Box({102, 99, 8, 3}, -10.5)};
  TakeInLeftovers(Map(), &lines, &regions);
  EXPECT_TRUE(regions.empty());
  EXPECT_NEAR(lines[0].spine.back().x, 109, 0.5);
}

TEST(TakeInLeftovers, WhatIsRoundDeepOrBrightThereIsNot) {
  for (const Region& other :
       {Box({101, 98, 4, 4}, -10), Box({102, 99, 8, 3}, -14), Box({102, 99, 8, 3}, 10)}) {
    std::vector<Region> lines = {Line({20, 100}, {100, 100}, -10)};
    std::vector<Region> regions = {other};
    TakeInLeftovers(Map(), &lines, &regions);
    EXPECT_EQ(regions.size(), 1U);
  }
}

TEST(TakeInLeftovers, WhereLinesCrossAWeakRestIsTheirs) {
  std::vector<Region> lines = {Line({20, 100}, {180, 100}, -10), Line({100, 20}, {100, 180}, -12)};
  std::vector<Region> regions = {Box({99, 99, 3, 3}, -5), Box({99, 99, 3, 3}, -9)};
  TakeInLeftovers(Map(), &lines, &regions);
  ASSERT_EQ(regions.size(), 1U);
  EXPECT_EQ(regions[0].depth, -9);
}

}  // namespace
}  // namespace endgrade
