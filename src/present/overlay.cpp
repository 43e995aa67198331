#include "endgrade/present.h"
#include "present/feature_marks.h"
#include "present/number_labels.h"
#include "present/photograph.h"
#include "present/strip.h"
#include "present/text_painter.h"
#include "present/zone_rings.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// Narrower photographs stand on a wider ground, so that the strip has room for its words.
constexpr int kLeastWidth = 1040;
constexpr double kEmsAcross = 80;
const Colour kGround{232, 232, 232};

double EmFor(int width) { return std::clamp(width / kEmsAcross, 13.0, 40.0); }

std::vector<NumberLabel> MarkPhotograph(cv::Mat& picture,
                                        const Limits& limits,
                                        const FibreGrade& fibre,
                                        const Photograph& photograph,
                                        double em_px,
                                        TextPainter& text) {
  const LineSizes sizes(em_px);
  const FeatureMap map = MapFeatures(fibre, photograph, sizes);
  auto numbers = PlaceNumbers(map, picture.size(), sizes, em_px, text);
  const auto letters = PlaceLetters(limits, fibre.scale, photograph, map, numbers, em_px, text);
  DrawRings(picture, limits, fibre.scale, photograph, map, letters, sizes, em_px, text);
  DrawOutlines(picture, map, sizes);
  DrawNumbers(picture, numbers, sizes, em_px, text);
  return numbers;
}

}  // namespace

cv::Mat DrawOverlay(const Frame& frame,
                    const Limits& limits,
                    const Grade& grade,
                    const OverlayOptions& options) {
  const Photograph photograph = LayPhotograph(frame, options);
  const cv::Size shown = photograph.size;
  const int width = std::max(shown.width, kLeastWidth);
  const double em_px = EmFor(width);
  const int most_rows = shown.height + static_cast<int>(std::ceil(kMostStripEms * em_px));
  cv::Mat canvas(most_rows, width, CV_8UC3, cv::Scalar::all(255));
  TextPainter text;
  std::vector<NumberLabel> numbers;
  if (!shown.empty()) {
    if (shown.width < width) canvas.rowRange(0, shown.height) = cv::Scalar(kGround);
    cv::Mat place = canvas({(width - shown.width) / 2, 0, shown.width, shown.height});
    PaintPhotograph(frame, place);
    for (const FibreGrade& fibre : grade.fibres) {
      numbers = MarkPhotograph(place, limits, fibre, photograph, em_px, text);
    }
  }
  const int end =
      DrawStrip(canvas, shown.height, {frame, limits, grade, photograph, numbers}, em_px, text);
  return canvas.rowRange(0, end);
}

}  // namespace endgrade
