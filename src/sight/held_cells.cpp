#include "sight/held_cells.h"

namespace endgrade {

cv::Mat HeldCells(const ContrastMap& map, const std::vector<Region>& regions) {
  cv::Mat held = map.valid.empty() ? cv::Mat::zeros(map.level.size(), CV_8UC1) : map.valid == 0;
  const cv::Rect whole(cv::Point(), held.size());
  for (const Region& region : regions) {
    for (const cv::Point& cell : region.cells) {
      if (whole.contains(cell)) held.at<uchar>(cell) = 255;
    }
  }
  return held;
}

}  // namespace endgrade
