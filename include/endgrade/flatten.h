// Step 5, Frame + ZoneMap -> ContrastMap: illumination and the face's own rings removed, with the
// local noise beside what is left.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/lay.h"
#include "endgrade/locate.h"
#include "endgrade/scale.h"

#include <opencv2/core.hpp>

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

struct FlattenOptions {
  // Finest cell, um (up to 5 % more where a whole pixel hangs on it). The light's own blur (0.7 um
  // and more in full width at the apertures of these microscopes) leaves next to nothing to see
  // below it: with 0.3, in four times the time, 0.4 % more of the marks were found in renders.
  // Range [0.02, 1].
  double finest_cell_um = 0.5;
  // How far beyond the outermost zone anything is looked for, um: what reaches into the zone counts
  // whole. Range [5, 200].
  double margin_um = 15.0;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

// A core of up to this radius is a single-mode fibre's, its light seen through the blur included.
inline constexpr double kLargestSingleModeUm = 8.0;

// Pixels, contrast and noise travel together. Cells are square blocks of `cell_px` picture pixels.
struct ContrastMap {
  cv::Rect roi_px;     // the part of the picture it covers
  int cell_px = 1;     // picture pixels a cell, along either side
  cv::Mat level;       // CV_32FC1: brightness, luma units
  cv::Mat background;  // CV_32FC1: what the clean face would show here
  cv::Mat residual;    // CV_32FC1: level - background
  cv::Mat radius_um;   // CV_32FC1: distance from the cladding's centre
  cv::Mat valid;       // CV_8UC1: 0 where a field stop or the camera's own dirt hides the face;
                       // empty: nowhere

  // Noise of `residual`, one cell, by ring of the face: robust standard deviation, luma units.
  std::vector<double> ring_edges_um;              // ascending, n + 1 values
  std::vector<std::uint16_t> ring_by_quarter_um;  // look-up for RingOf
  std::vector<double> ring_noise;                 // n values
  std::vector<double> ring_level;                 // n values: median background, luma units

  double outer_um = 0.0;  // distance from the centre up to which anything is looked for
  double um_per_cell = 1.0;
  cv::Point2d centre_cell;                        // the cladding's centre
  cv::Matx22d um_from_cell = cv::Matx22d::eye();  // takes (cell - centre_cell) to um
  double blur_sigma_cells = 0.0;                  // of the camera, from the rim, with its tails
  double blur_fwhm_cells = 0.0;                   // its width at half maximum, without them
  double core_radius_um = 0.0;                    // 0: none seen
  cv::Point2d core_centre_um;
  double rim_contrast = 0.0;         // brightness range across the rim over the glass's brightness
  double cladding_radius_um = 62.5;  // as measured at the scale in use
  double white_level = 255.0;        // of the picture
  double glass_level = 0.0;          // median background on the cladding, luma units
  double glass_noise = 0.0;          // one cell on the cladding, luma units
  double least_depth = 0.0;          // a lower step may be the file's own rounding, luma units
  double block_step = 0.0;           // as Frame.block_step: rounding of a compressed block's mean

  // Index of the ring that holds a cell at this distance from the centre; the last one beyond all.
  [[nodiscard]] std::size_t RingOf(float radius_um) const {
    const auto quarter = static_cast<std::size_t>(4.0F * radius_um);
    return quarter < ring_by_quarter_um.size() ? ring_by_quarter_um[quarter]
                                               : ring_edges_um.size() - 2;
  }

  // Centre of cell (0, 0) is at roi_px.tl() + (cell_px - 1) / 2.
  [[nodiscard]] cv::Point2d PxFromCell(cv::Point2d cell) const;
  [[nodiscard]] cv::Point2d CellFromPx(cv::Point2d p_px) const;
};

// What a camera itself lays over a part of the picture, where that is known (camera.h).
struct CameraField {
  cv::Rect roi_px;
  cv::Mat gain;    // CV_32FC1: brightness of an even field, 1 where nothing is known
  cv::Mat hidden;  // CV_8UC1: 255 where the face is not seen for it
};

//   field     divided out before anything else; what it hides has a residual of 0 and is not valid.
//             Null: nothing is known
[[nodiscard]] ContrastMap Flatten(const Frame& frame,
                                  const FibreGeometry& fibre,
                                  const Scale& scale,
                                  const ZoneMap& zones,
                                  const FlattenOptions& options = {},
                                  const CameraField* field = nullptr);

}  // namespace endgrade
