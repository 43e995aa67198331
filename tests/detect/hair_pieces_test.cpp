#include "detect/hair_pieces.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace endgrade {
namespace {

// A bar of cells, as a region is.
Region Bar(cv::Rect box, double depth) {
  Region bar;
  for (int y = box.y; y < box.br().y; ++y) {
    for (int x = box.x; x < box.br().x; ++x) {
      bar.cells.emplace_back(x, y);
      const bool border = x == box.x || y == box.y || x == box.br().x - 1 || y == box.br().y - 1;
      if (border) bar.edge.emplace_back(static_cast<float>(x), static_cast<float>(y));
    }
  }
  bar.body_cells = bar.cells.size();
  bar.depth = depth;
  return bar;
}

// Two dark bars side by side, what is between them as bright as that above the clean face.
size_t RegionsLeft(float between) {
  ContrastMap map;
  map.um_per_cell = 0.5;
  map.glass_level = 100;
  map.blur_sigma_cells = 1.0;
  map.level = cv::Mat(300, 300, CV_32FC1, cv::Scalar(100));
  map.residual = cv::Mat::zeros(300, 300, CV_32FC1);
  const std::vector<cv::Rect> bars = {{100, 100, 120, 6}, {100, 109, 110, 4}};
  map.residual(cv::Rect(100, 106, 120, 3)).setTo(between);
  for (const cv::Rect& bar : bars) map.residual(bar).setTo(-40.0F);
  std::vector<Region> lines;
  std::vector<Region> regions;
  for (const cv::Rect& bar : bars) regions.push_back(Bar(bar, -40));
  JoinHairPieces(map, &lines, &regions);
  return regions.size();
}

TEST(JoinHairPieces, JoinsTwoFlanksOfALitMiddleButNotTwoScratchesSideBySide) {
  EXPECT_EQ(RegionsLeft(25.0F), 1U);
  EXPECT_EQ(RegionsLeft(0.0F), 2U);
}

}  // namespace
}  // namespace endgrade
