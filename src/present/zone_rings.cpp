#include "present/zone_rings.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <set>
#include <utility>

namespace endgrade {
namespace {

constexpr int kLetterDirections = 48;
constexpr double kRingRimOpacity = 0.5;

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
    const cv::Size picture = photograph_.size;
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

std::vector<cv::Point2d> RingCurve(double diameter_um,
                                   const Scale& scale,
                                   const Photograph& photograph) {
  constexpr double kChordPx = 6;  // sags from its circle by less than a tenth of a pixel
  const double radius_px = diameter_um / 2 / scale.um_per_px * photograph.scale_x;
  const int corners = std::clamp(static_cast<int>(2 * CV_PI * radius_px / kChordPx), 24, 4000);
  std::vector<cv::Point2d> curve;
  curve.reserve(static_cast<std::size_t>(corners));
  for (int i = 0; i < corners; ++i) {
    curve.push_back(PlaceOf(diameter_um / 2, 2 * CV_PI * i / corners, scale, photograph));
  }
  return curve;
}

constexpr std::uint8_t kMarked = 255;

// The first marked pixel of a row from `from` on; `end` where there is none. Few are.
int NextMarked(const std::uint8_t* row, int from, int end) {
  if (from >= end) return end;
  const void* marked = std::memchr(row + from, kMarked, static_cast<std::size_t>(end - from));
  return marked == nullptr ? end : static_cast<int>(static_cast<const std::uint8_t*>(marked) - row);
}

// Sets `mask` on the pixels within `reach_px` of a ring, and on some more.
void MarkNeighbourhood(cv::Mat& mask, const std::vector<cv::Point2d>& curve, double reach_px) {
  std::vector<cv::Point> points;
  points.reserve(curve.size());
  for (const cv::Point2d& p : curve) points.emplace_back(p);
  const int width = 2 * static_cast<int>(std::ceil(reach_px)) + 3;
  cv::polylines(mask, points, true, cv::Scalar(kMarked), width, cv::LINE_8);
}

// The way from the overlay's pixels to their distance from the nearest ring.
class RingDistance {
 public:
  RingDistance(std::vector<double> diameters_um, const Scale& scale, const Photograph& photograph)
      : diameters_um_(std::move(diameters_um)),
        centre_(photograph.FromPx(scale.centre_px)),
        um_from_shown_(scale.um_from_px *
                       cv::Matx22d(1 / photograph.scale_x, 0, 0, 1 / photograph.scale_y)) {}

  // In overlay pixels, to first order: exact on the ring, where it is used.
  [[nodiscard]] double operator()(cv::Point p) const {
    const cv::Vec2d p_um = um_from_shown_ * cv::Vec2d(p.x - centre_.x, p.y - centre_.y);
    const double r_um = std::sqrt(p_um.dot(p_um));
    const cv::Vec2d gradient = um_from_shown_.t() * p_um;
    const double um_per_shown = std::sqrt(gradient.dot(gradient)) / r_um;
    double nearest_um = std::numeric_limits<double>::max();
    for (const double diameter_um : diameters_um_) {
      nearest_um = std::min(nearest_um, std::abs(r_um - diameter_um / 2));
    }
    return nearest_um / um_per_shown;
  }

 private:
  std::vector<double> diameters_um_;
  cv::Point2d centre_;
  cv::Matx22d um_from_shown_;
};

bool IsUnderLetter(cv::Point p, const std::vector<ZoneLetter>& letters, double margin) {
  return std::any_of(letters.begin(), letters.end(), [&](const ZoneLetter& letter) {
    return p.x > letter.box.x - margin && p.x < letter.box.br().x + margin &&
           p.y > letter.box.y - margin && p.y < letter.box.br().y + margin;
  });
}

// How much of a pixel lies within `half` of a line at `distance`, times 255.
int Alpha(double distance, double half, double opacity) {
  return static_cast<int>(255.0 * opacity * std::clamp(half - distance + 0.5, 0.0, 1.0));
}

// The borders of the zones, once each. A ring of a hundred thousand pixels comes from a scale that
// is wrong, not from a picture.
std::vector<double> RingDiameters(const Limits& limits, const Scale& scale) {
  std::set<double> diameters_um;
  for (const Zone& zone : limits.zones) {
    for (const double diameter_um : {zone.inner_diameter_um, zone.outer_diameter_um}) {
      if (diameter_um > 0 && diameter_um < 1e5 * scale.um_per_px) diameters_um.insert(diameter_um);
    }
  }
  return {diameters_um.begin(), diameters_um.end()};
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
  const double half = sizes.Ring() / 2;
  const double reach = half + sizes.Rim();
  const std::vector<double> diameters_um = RingDiameters(limits, scale);
  cv::Mat near_ring = cv::Mat::zeros(picture.size(), CV_8UC1);
  for (const double diameter_um : diameters_um) {
    MarkNeighbourhood(near_ring, RingCurve(diameter_um, scale, photograph), reach);
  }
  const RingDistance distance(diameters_um, scale, photograph);
  for (int y = 0; y < picture.rows; ++y) {
    const std::uint8_t* near_row = near_ring.ptr(y);
    auto* pixels = picture.ptr<cv::Vec3b>(y);
    for (int x = NextMarked(near_row, 0, picture.cols); x < picture.cols;
         x = NextMarked(near_row, x + 1, picture.cols)) {
      const cv::Point p(x, y);
      if (map.DistancePx(p) < sizes.Gap()) continue;
      const double away = distance(p);
      if (away > reach + 0.5 || IsUnderLetter(p, letters, 0.2 * em_px)) continue;
      BlendPixel(pixels[x], kBlack, Alpha(away, reach, kRingRimOpacity));
      BlendPixel(pixels[x], RingColour(), Alpha(away, half, 1.0));
    }
  }
  for (const ZoneLetter& letter : letters) {
    text.DrawCased(picture,
                   {letter.box.x, letter.box.br().y},
                   letter.text,
                   LetterStyle(em_px),
                   sizes.Rim() + 0.5);
  }
}

}  // namespace endgrade
