// The picture averaged down to cells around the fibre, with each cell's distance from the centre.
#pragma once

#include "endgrade/flatten.h"

#include <span>

namespace endgrade {

// Fills roi_px, cell_px, um_per_cell, both measures of the blur, level, outer_um and radius_um of a
// new map. The region reaches `options.margin_um` beyond the zones, so that a feature across the
// outer border is seen whole.
[[nodiscard]] ContrastMap LayCells(const Frame& frame,
                                   const FibreGeometry& fibre,
                                   const Scale& scale,
                                   const ZoneMap& zones,
                                   const FlattenOptions& options);

// The box of the map's cells that lie nearer to the centre than `radius_um`, a cell more on each
// side; empty where none do.
[[nodiscard]] cv::Rect CellsWithin(const ContrastMap& map, double radius_um);

// Median of the values, of the two in the middle the higher. Zero for none.
[[nodiscard]] float MedianOf(std::span<const float> values);

// Robust standard deviation about the median: median absolute deviation times 1.4826, the factor
// that makes it agree with the standard deviation of a Gaussian.
[[nodiscard]] float SigmaAbout(float median, std::span<const float> values);

// Standard deviation of the noise in `values`, which dirt may have spoilt to one side. Compression
// leaves most of a smooth face exactly flat, and the median deviation says that there is no noise
// at all; the fifth from either end then tells more: the lesser of the two sides.
[[nodiscard]] float NoiseSigma(std::span<const float> values);

}  // namespace endgrade
