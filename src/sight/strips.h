// Strips of cells side by side, everywhere and in many directions.
#pragma once

#include <opencv2/core.hpp>

#include <cstddef>

namespace endgrade {

inline constexpr int kStripLong = 18;  // cells along a strip,
inline constexpr int kStripWide = 4;   // across it
inline constexpr std::size_t kStripCells = kStripLong * kStripWide;

// The greatest step between the means of two strips side by side. Both maps are CV_32FC1 and
// square, of an odd number of cells, with the face in their middle.
//
//   level        0 where nothing is told
//   told         1 or 0
//   from_cells   nothing is told nearer to the middle than this,
//   to_cells     nor further
[[nodiscard]] double GreatestStep(const cv::Mat& level,
                                  const cv::Mat& told,
                                  double from_cells,
                                  double to_cells);

}  // namespace endgrade
