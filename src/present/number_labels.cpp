#include "present/number_labels.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kDirections = 16;
constexpr std::size_t kMostAnchors = 16;

TextStyle NumberStyle(double em_px) { return {0.92 * em_px, true, kBlack}; }

cv::Point2d NearestInBox(const cv::Rect2d& box, cv::Point2d p) {
  return {std::clamp(p.x, box.x, box.br().x), std::clamp(p.y, box.y, box.br().y)};
}

bool IsInside(const cv::Rect2d& box, cv::Size picture, double margin) {
  return box.x >= margin && box.y >= margin && box.br().x <= picture.width - 1 - margin &&
         box.br().y <= picture.height - 1 - margin;
}

bool Overlap(const cv::Rect2d& a, const cv::Rect2d& b, double margin) {
  return a.x < b.br().x + margin && b.x < a.br().x + margin && a.y < b.br().y + margin &&
         b.y < a.br().y + margin;
}

// A leader starts in its own feature's outline, leaves the larger one that its own may lie on, and
// stays off all other features and outlines.
bool LeaderIsClear(const FeatureMap& map,
                   const MarkedFeature& feature,
                   cv::Point2d from,
                   cv::Point2d to,
                   const LineSizes& sizes) {
  const cv::Point2d along = to - from;
  const double length = std::hypot(along.x, along.y);
  bool lies_on_larger = feature.layer > 0;
  for (double t = sizes.Reach(); t < length; t += 1.0) {
    const cv::Point2d p = from + along * (t / length);
    const cv::Point pixel(static_cast<int>(std::lround(p.x)), static_cast<int>(std::lround(p.y)));
    const double clear = t < 2 * sizes.Reach() ? sizes.Gap() : sizes.Reach();
    lies_on_larger = lies_on_larger && map.DistancePx(pixel) < clear;
    if (map.DistancePx(pixel, lies_on_larger ? feature.layer : 0) < clear) return false;
  }
  return true;
}

class Placer {
 public:
  Placer(const FeatureMap& map, cv::Size picture, const LineSizes& sizes, double em_px)
      : map_(map), picture_(picture), sizes_(sizes), em_px_(em_px) {}

  // Tries nearer places first; at one distance, up and to the right first.
  bool Place(const MarkedFeature& feature,
             cv::Size2d size,
             const std::vector<NumberLabel>& taken,
             NumberLabel* label) const {
    const std::size_t stride = std::max<std::size_t>(1, feature.outline.size() / kMostAnchors);
    for (const double away_em : {0.15, 0.6, 1.2, 2.0, 3.2, 5.0}) {
      for (int direction = 0; direction < kDirections; ++direction) {
        // -45 degrees, then alternately to either side of it.
        const int turn = direction % 2 == 0 ? direction / 2 : -(direction + 1) / 2;
        const double angle = -CV_PI / 4 + 2 * CV_PI * turn / kDirections;
        for (std::size_t i = 0; i < feature.outline.size(); i += stride) {
          if (Try(feature, feature.outline[i], angle, away_em, size, taken, label)) return true;
        }
      }
    }
    return false;
  }

 private:
  bool Try(const MarkedFeature& feature,
           cv::Point2d anchor,
           double angle,
           double away_em,
           cv::Size2d size,
           const std::vector<NumberLabel>& taken,
           NumberLabel* label) const {
    const cv::Point2d direction(std::cos(angle), std::sin(angle));
    // From the box's centre to its edge in this direction.
    const double half = std::min(size.width / 2 / std::max(std::abs(direction.x), 1e-9),
                                 size.height / 2 / std::max(std::abs(direction.y), 1e-9));
    const cv::Point2d centre = anchor + direction * (sizes_.Reach() + away_em * em_px_ + half);
    const cv::Rect2d box(
        centre.x - size.width / 2, centre.y - size.height / 2, size.width, size.height);
    if (!IsInside(box, picture_, sizes_.Rim() + 1)) return false;
    if (!map_.IsFree(box, sizes_.Reach() + sizes_.Rim())) return false;
    for (const NumberLabel& other : taken) {
      if (Overlap(box, other.box, 0.25 * em_px_)) return false;
      if (other.has_leader &&
          Overlap(box, cv::Rect2d(other.anchor, NearestInBox(other.box, other.anchor)), 2)) {
        return false;
      }
    }
    const cv::Point2d end = NearestInBox(box, anchor);
    if (!LeaderIsClear(map_, feature, anchor, end, sizes_)) return false;
    label->box = box;
    label->anchor = anchor;
    label->has_leader =
        std::hypot(end.x - anchor.x, end.y - anchor.y) > sizes_.Reach() + 0.35 * em_px_;
    return true;
  }

  const FeatureMap& map_;
  cv::Size picture_;
  const LineSizes& sizes_;
  double em_px_;
};

}  // namespace

cv::Size2d NumberBoxSize(const std::string& number, double em_px, TextPainter& text) {
  const double height = 1.25 * em_px;
  return {std::max(height, text.Width(number, NumberStyle(em_px)) + 0.6 * em_px), height};
}

std::vector<NumberLabel> PlaceNumbers(const FeatureMap& map,
                                      cv::Size picture,
                                      const LineSizes& sizes,
                                      double em_px,
                                      TextPainter& text) {
  std::vector<NumberLabel> labels;
  const Placer placer(map, picture, sizes, em_px);
  for (const MarkedFeature& feature : map.features) {
    if (!feature.breaks) continue;
    if (labels.size() == static_cast<std::size_t>(kMostNumbers)) break;
    NumberLabel label;
    label.text = std::to_string(feature.id);
    const cv::Size2d size = NumberBoxSize(label.text, em_px, text);
    if (placer.Place(feature, size, labels, &label)) labels.push_back(label);
  }
  return labels;
}

void DrawNumberBox(cv::Mat& picture,
                   const cv::Rect2d& box,
                   const std::string& number,
                   const LineSizes& sizes,
                   double em_px,
                   TextPainter& text) {
  const double rim = sizes.Rim();
  const double radius = 0.3 * em_px;
  const cv::Rect2d outer(box.x - rim, box.y - rim, box.width + 2 * rim, box.height + 2 * rim);
  FillRounded(picture, outer, radius + rim, kBlack);
  FillRounded(picture, box, radius, BrokenColour());
  const TextStyle style = NumberStyle(em_px);
  text.Draw(picture,
            {box.x + (box.width - text.Width(number, style)) / 2,
             box.y + (box.height + text.CapHeight(style)) / 2},
            number,
            style);
}

void DrawNumbers(cv::Mat& picture,
                 const std::vector<NumberLabel>& labels,
                 const LineSizes& sizes,
                 double em_px,
                 TextPainter& text) {
  const double line = 2.0 * sizes.unit;
  for (const NumberLabel& label : labels) {
    if (!label.has_leader) continue;
    const cv::Point2d end = NearestInBox(label.box, label.anchor);
    const cv::Point2d along = end - label.anchor;
    const cv::Point2d start =
        label.anchor + along * ((sizes.Gap() + sizes.Heavy() / 2) / std::hypot(along.x, along.y));
    DrawSegment(picture, start, end, line + 2 * sizes.Rim(), kBlack);
    DrawSegment(picture, start, end, line, BrokenColour());
  }
  for (const NumberLabel& label : labels) {
    DrawNumberBox(picture, label.box, label.text, sizes, em_px, text);
  }
}

}  // namespace endgrade
