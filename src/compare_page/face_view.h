// A face as it is shown: every photograph at one scale and, where that is known, turned like the
// first; and the marks that tell what became of each thing.
#pragma once

#include "compare_page/comparison_result.h"
#include "present/paint.h"
#include "present/text_painter.h"

#include <opencv2/core.hpp>

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::compare_page {

// A square about the cladding's centre.
struct View {
  double half_um = 130;
  int side = 900;  // pixels
  [[nodiscard]] double PxPerUm() const { return side / (2 * half_um); }
  [[nodiscard]] cv::Point2d ToView(cv::Point2d first_um) const {
    return (first_um + cv::Point2d(half_um, half_um)) * PxPerUm() - cv::Point2d(0.5, 0.5);
  }
};

// Wide enough for the outermost zone that has a rule, and a little more.
[[nodiscard]] View ViewOf(const Limits& limits, int side);

// The photograph, CV_8UC3; pale grey where it shows nothing. Without a fibre: shrunk to fit.
[[nodiscard]] cv::Mat PaintFace(const Attempt& attempt,
                                const std::optional<cv::Matx23d>& to_first,
                                const View& view);

// Fates are told apart by colour, line and shape, and named in words beside.
struct FateLook {
  Colour colour;
  std::vector<double> dashes;  // lengths of strokes and gaps, line widths; empty: whole
  int corners = 0;             // of the mark around a small thing; 0: a circle
  double width = 2;            // relative to the others
};
[[nodiscard]] FateLook LookOf(Fate fate);

struct FaceMark {
  int id = 0;  // of the thing
  Fate fate = Fate::kCannotTell;
  bool ghost = false;             // drawn where it was in an earlier photograph
  std::vector<cv::Point2d> path;  // closed, view pixels; beside the thing, never on it
};

// Marks of the things in photograph `attempt`: those that it shows, with what became or will become
// of them; and the places of those that are gone, where it is known how the photographs lie.
[[nodiscard]] std::vector<FaceMark> MarksOn(const Compared& compared,
                                            std::size_t attempt,
                                            const View& view);

// Where each mark's number stands, as wide and as high as `size_of` says: beside its mark, over no
// other number, inside the view. Empty where there is no such place, and beyond the first 40.
[[nodiscard]] std::vector<std::optional<cv::Rect2d>> PlaceNumbers(
    const std::vector<FaceMark>& marks,
    int side,
    const std::function<cv::Size2d(const std::string&)>& size_of);

// Draws marks with their numbers, each with a dark rim so that it shows on any picture.
void DrawMarks(cv::Mat& picture, const std::vector<FaceMark>& marks, double em, TextPainter& text);

// One mark of a legend.
void DrawLegendMark(cv::Mat& picture, cv::Point2d centre, double radius, Fate fate);

}  // namespace endgrade::compare_page
