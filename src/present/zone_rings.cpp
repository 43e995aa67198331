#include "present/zone_rings.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <set>

namespace endgrade {
namespace {

constexpr int kLetterDirections = 48;
constexpr double kRingRimOpacity = 0.45;
constexpr double kRingOpacity = 0.9;

TextStyle LetterStyle(double em_px) { return {em_px, true, RingColour()}; }

// Where letters of a scale can be put: the overlay's pixels from end-face micrometres.
cv::Point2d PlaceOf(double radius_um,
                    double angle,
                    const Scale& scale,
                    const Photograph& photograph) {
  const cv::Point2d p_um(radius_um * std::cos(angle), radius_um * std::sin(angle));
  return photograph.FromPx(scale.ToPx(p_um));
}

bool IsUsable(const Scale& scale) {
  const double determinant = cv::determinant(scale.um_from_px);
  return std::isfinite(determinant) && determinant > 0 && std::isfinite(scale.centre_px.x) &&
         std::isfinite(scale.centre_px.y);
}

// Distance from the centre at which a zone's letter stands, um.
double LetterRadius(const Zone& zone, double letter_um) {
  const double inner = zone.inner_diameter_um / 2;
  const double outer = zone.outer_diameter_um / 2;
  const double breadth = outer - inner;
  const bool around_the_core = inner <= 0;
  if (breadth > (around_the_core ? 4.0 : 2.2) * letter_um) return outer - 1.1 * letter_um;
  return breadth > 1.2 * letter_um && !around_the_core ? (inner + outer) / 2 : outer;
}

class LetterPlacer {
 public:
  LetterPlacer(const Limits& limits,
               const Scale& scale,
               const Photograph& photograph,
               const FeatureMap& map,
               const std::vector<NumberLabel>& numbers,
               double em_px,
               TextPainter& text)
      : limits_(limits),
        scale_(scale),
        photograph_(photograph),
        map_(map),
        numbers_(numbers),
        margin_(0.15 * em_px),
        style_(LetterStyle(em_px)),
        text_(text) {
    const double px_per_um = std::sqrt(photograph.scale_x * photograph.scale_y) / scale.um_per_px;
    letter_um_ = text.CapHeight(style_) / px_per_um;
  }

  // The letters of as many zones as find a place along one direction.
  [[nodiscard]] std::vector<ZoneLetter> Along(double angle) const {
    std::vector<ZoneLetter> letters;
    for (const Zone& zone : limits_.zones) {
      ZoneLetter letter = LetterAt(zone, angle);
      if (IsFree(letter.box, letters)) letters.push_back(std::move(letter));
    }
    return letters;
  }

  // The rest, each where there is room for it.
  void Complete(std::vector<ZoneLetter>* letters, const std::vector<double>& angles) const {
    for (const Zone& zone : limits_.zones) {
      const bool done = std::any_of(letters->begin(), letters->end(), [&](const ZoneLetter& l) {
        return l.text == zone.name;
      });
      if (done) continue;
      for (const double angle : angles) {
        ZoneLetter letter = LetterAt(zone, angle);
        if (!IsFree(letter.box, *letters)) continue;
        letters->push_back(std::move(letter));
        break;
      }
    }
  }

 private:
  [[nodiscard]] ZoneLetter LetterAt(const Zone& zone, double angle) const {
    const cv::Point2d centre = PlaceOf(LetterRadius(zone, letter_um_), angle, scale_, photograph_);
    const double width = text_.Width(zone.name, style_);
    const double height = text_.CapHeight(style_);
    return {zone.name, cv::Rect2d(centre.x - width / 2, centre.y - height / 2, width, height)};
  }

  [[nodiscard]] bool IsFree(const cv::Rect2d& box, const std::vector<ZoneLetter>& letters) const {
    const cv::Rect2d grown(
        box.x - margin_, box.y - margin_, box.width + 2 * margin_, box.height + 2 * margin_);
    const cv::Size picture = photograph_.pixels.size();
    if (grown.x < 0 || grown.y < 0 || grown.br().x > picture.width - 1 ||
        grown.br().y > picture.height - 1) {
      return false;
    }
    const auto meets = [&](const cv::Rect2d& other) { return (grown & other).area() > 0; };
    return map_.IsFree(grown, margin_) &&
           std::none_of(
               letters.begin(), letters.end(), [&](const ZoneLetter& l) { return meets(l.box); }) &&
           std::none_of(numbers_.begin(), numbers_.end(), [&](const NumberLabel& l) {
             return meets(l.box);
           });
  }

  const Limits& limits_;
  const Scale& scale_;
  const Photograph& photograph_;
  const FeatureMap& map_;
  const std::vector<NumberLabel>& numbers_;
  double margin_;
  TextStyle style_;
  TextPainter& text_;
  double letter_um_ = 0;
};

// Coverage of a closed curve, added to `mask`.
void DrawCurve(cv::Mat& mask, const std::vector<cv::Point2d>& curve, int width) {
  constexpr int kFractionBits = 6;
  std::vector<cv::Point> points;
  for (const cv::Point2d& p : curve) {
    points.emplace_back(static_cast<int>(std::lround(p.x * (1 << kFractionBits))),
                        static_cast<int>(std::lround(p.y * (1 << kFractionBits))));
  }
  cv::polylines(mask, points, true, cv::Scalar(255), width, cv::LINE_AA, kFractionBits);
}

std::vector<cv::Point2d> RingCurve(double diameter_um,
                                   const Scale& scale,
                                   const Photograph& photograph) {
  constexpr double kChordPx = 6;  // sags from its circle by less than a tenth of a pixel
  const double radius_px = diameter_um / 2 / scale.um_per_px * photograph.scale_x;
  const int corners = std::clamp(static_cast<int>(2 * CV_PI * radius_px / kChordPx), 24, 4000);
  std::vector<cv::Point2d> curve;
  for (int i = 0; i < corners; ++i) {
    curve.push_back(PlaceOf(diameter_um / 2, 2 * CV_PI * i / corners, scale, photograph));
  }
  return curve;
}

// No ring over a feature, the outline beside it, or a letter.
void ClearPlaces(cv::Mat& mask,
                 const FeatureMap& map,
                 const std::vector<ZoneLetter>& letters,
                 double reach_px,
                 double margin) {
  for (const ZoneLetter& letter : letters) {
    const cv::Rect box(cv::Point(letter.box.tl() - cv::Point2d(margin, margin)),
                       cv::Point(letter.box.br() + cv::Point2d(margin + 1, margin + 1)));
    mask(box & cv::Rect({0, 0}, mask.size())) = 0;
  }
  for (int y = map.roi.y; y < map.roi.br().y; ++y) {
    const auto* to_broken = map.to_broken.ptr<float>(y - map.roi.y);
    const auto* to_allowed = map.to_allowed.ptr<float>(y - map.roi.y);
    auto* row = mask.ptr(y) + map.roi.x;
    for (int x = 0; x < map.roi.width; ++x) {
      if (std::min(to_broken[x], to_allowed[x]) < reach_px) row[x] = 0;
    }
  }
}

}  // namespace

Colour RingColour() { return kYellow; }

std::vector<ZoneLetter> PlaceLetters(const Limits& limits,
                                     const Scale& scale,
                                     const Photograph& photograph,
                                     const FeatureMap& map,
                                     const std::vector<NumberLabel>& numbers,
                                     double em_px,
                                     TextPainter& text) {
  if (!IsUsable(scale)) return {};
  const LetterPlacer placer(limits, scale, photograph, map, numbers, em_px, text);
  std::vector<double> angles;
  for (int i = 0; i < kLetterDirections; ++i) {
    const int turn = i % 2 == 0 ? i / 2 : -(i + 1) / 2;
    angles.push_back(-CV_PI / 4 + 2 * CV_PI * turn / kLetterDirections);
  }
  std::vector<ZoneLetter> best;
  for (const double angle : angles) {
    std::vector<ZoneLetter> letters = placer.Along(angle);
    if (letters.size() > best.size()) best = std::move(letters);
    if (best.size() == limits.zones.size()) break;
  }
  placer.Complete(&best, angles);
  return best;
}

void DrawRings(cv::Mat& picture,
               const Limits& limits,
               const Scale& scale,
               const Photograph& photograph,
               const FeatureMap& map,
               const std::vector<ZoneLetter>& letters,
               const LineSizes& sizes,
               double em_px,
               TextPainter& text) {
  if (!IsUsable(scale)) return;
  cv::Mat line = cv::Mat::zeros(picture.size(), CV_8UC1);
  cv::Mat rim = cv::Mat::zeros(picture.size(), CV_8UC1);
  const int width = std::max(1, static_cast<int>(std::lround(sizes.Ring())));
  std::set<double> diameters_um;
  for (const Zone& zone : limits.zones) {
    diameters_um.insert({zone.inner_diameter_um, zone.outer_diameter_um});
  }
  for (const double diameter_um : diameters_um) {
    // A ring of a hundred thousand pixels comes from a scale that is wrong, not from a picture.
    if (!(diameter_um > 0 && diameter_um < 1e5 * scale.um_per_px)) continue;
    const auto curve = RingCurve(diameter_um, scale, photograph);
    DrawCurve(rim, curve, width + 2);
    DrawCurve(line, curve, width);
  }
  const double margin = 0.2 * em_px;
  ClearPlaces(rim, map, letters, sizes.Gap(), margin);
  ClearPlaces(line, map, letters, sizes.Gap(), margin);
  BlendCoverage(picture, rim, {0, 0}, kBlack, kRingRimOpacity);
  BlendCoverage(picture, line, {0, 0}, RingColour(), kRingOpacity);
  for (const ZoneLetter& letter : letters) {
    text.DrawCased(picture,
                   {letter.box.x, letter.box.br().y},
                   letter.text,
                   LetterStyle(em_px),
                   sizes.Rim() + 0.5);
  }
}

}  // namespace endgrade
