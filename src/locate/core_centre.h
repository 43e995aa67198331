// Where a wide core lies, by its border.
#pragma once

#include <opencv2/core.hpp>

#include <optional>

namespace endgrade::locate {

// A square part of the face about the cladding's centre.
struct FacePatch {
  cv::Mat level;       // CV_32FC1, brightness
  double um = 1;       // side of a cell
  double half_um = 0;  // the cladding's centre lies this far from the middle of cell (0, 0)
};

// The patch without the slope of the light that lies on the glass around the core; a slope moves
// the place where a border is half-way up.
[[nodiscard]] FacePatch WithEvenLight(const FacePatch& patch,
                                      cv::Point2d about_um,
                                      double radius_um);

// A lit graded-index core has no edge but a slope as wide as itself: the step across a circle says
// little about where its centre is. The border at half height does.
//
//   about_um, radius_um   the core as found so far, um from the cladding's centre
//   returns               the centre, um, of the circle that most of the border lies on (Kasa 1976,
//                         from memory, on what is near it); nothing when less than 60 % does
[[nodiscard]] std::optional<cv::Point2d> CentreByBorder(const FacePatch& patch,
                                                        cv::Point2d about_um,
                                                        double radius_um);

// Whether what is within the core's border is brighter or darker than the glass around it: a disc,
// and not a drawn circle, or lines that cross. By `least_step` in the picture's units.
[[nodiscard]] bool IsDisc(const FacePatch& patch,
                          cv::Point2d centre_um,
                          double radius_um,
                          double least_step);

// How much the brightness about a core's border differs between the directions, as a root mean
// square in the picture's units of what is left by a median over the directions; nine tenths of the
// places count, for there may be marks on it. Of two centres the one with less is the better.
[[nodiscard]] double UnlikenessAround(const FacePatch& patch,
                                      cv::Point2d centre_um,
                                      double radius_um);

}  // namespace endgrade::locate
