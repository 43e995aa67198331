// The parts of an explaining sheet: square views of one stretch of the picture, and a graph.
#pragma once

#include "endgrade/explain.h"
#include "present/text_painter.h"

#include <opencv2/core.hpp>

#include <functional>
#include <string>
#include <utility>
#include <vector>

namespace endgrade::explain {

inline const Colour kBlue{178, 114, 0};  // of Okabe and Ito's eight, as in present/paint.h
inline constexpr double kNoValue = 1e300;

// A square stretch of the picture, and the square of the sheet that shows it.
struct View {
  cv::Rect crop_px;  // may reach out of the picture
  int side = 444;    // sheet pixels
  [[nodiscard]] double Magnification() const { return static_cast<double>(side) / crop_px.width; }
  // Picture pixel centres to panel pixel centres, and back.
  [[nodiscard]] cv::Point2d ToPanel(cv::Point2d p_px) const;
  [[nodiscard]] cv::Point2d FromPanel(cv::Point2d p) const;
};

// Values to colours: grey, or blue below zero and orange-red above it, white at zero.
struct ValueScale {
  double low = 0;
  double high = 1;
  bool diverging = false;
  [[nodiscard]] Colour ColourOf(double value) const;
};

// The photograph as it is: pixels repeated or averaged, pale grey outside.
[[nodiscard]] cv::Mat PaintPhotographView(const Frame& frame, const View& view);

// `value_at(p_px)` in the colours of `scale`; kNoValue is pale grey.
[[nodiscard]] cv::Mat PaintValues(const View& view,
                                  const ValueScale& scale,
                                  const std::function<double(cv::Point2d)>& value_at);

// A closed outline in picture pixels, light with a dark rim.
void DrawClosed(cv::Mat& panel,
                const View& view,
                const std::vector<cv::Point2d>& outline_px,
                const Colour& colour,
                double width);

// Circles of the zones about the cladding's centre, thin, each with its letter inside.
void DrawZones(cv::Mat& panel,
               const View& view,
               const Limits& limits,
               const Scale& scale,
               double em,
               TextPainter& text);

// A bar of a round number of micrometres in the lower left corner.
void DrawScaleBar(cv::Mat& panel, const View& view, const Scale& scale, double em, TextPainter& t);

// The scale as a bar, its ends and `marks` labelled below.
void DrawValueBar(cv::Mat& sheet,
                  const cv::Rect2d& box,
                  const ValueScale& scale,
                  const std::vector<std::pair<double, std::string>>& marks,
                  double em,
                  TextPainter& text);

// The profile in a box, with axes in micrometres and grey levels and a legend below.
void DrawProfile(cv::Mat& sheet,
                 const cv::Rect2d& box,
                 const ProfileAcross& profile,
                 double noise,
                 double em,
                 TextPainter& text);

}  // namespace endgrade::explain
