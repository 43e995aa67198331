#include "compare_page/face_view.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::compare_page {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kBeyond_um = 12;  // shown beyond the outermost ruled zone
constexpr double kSmall_um = 24;   // up to here a thing gets a shape around it
constexpr double kBeside_px = 7;   // from a thing to its mark
constexpr std::size_t kMostNumbers = 40;
const Colour kReddishPurple{167, 121, 204};  // of Okabe and Ito's eight, as in present/paint.h

cv::Mat Pixels(const Frame& frame) {
  if (!frame.colour.empty()) return frame.colour;
  cv::Mat grey;
  frame.luma.convertTo(grey, CV_8U, 255.0 / frame.white_level);
  cv::Mat shown;
  cv::cvtColor(grey, shown, cv::COLOR_GRAY2BGR);
  return shown;
}

cv::Mat PaintWhole(const Frame& frame, const View& view) {
  cv::Mat shown(view.side, view.side, CV_8UC3, cv::Scalar(kPaleGrey));
  const cv::Mat pixels = Pixels(frame);
  const double factor = std::min(static_cast<double>(view.side) / pixels.cols,
                                 static_cast<double>(view.side) / pixels.rows);
  cv::Mat small;
  cv::resize(pixels, small, {}, factor, factor, factor < 1 ? cv::INTER_AREA : cv::INTER_LINEAR);
  const cv::Rect place(
      (view.side - small.cols) / 2, (view.side - small.rows) / 2, small.cols, small.rows);
  small.copyTo(shown(place & cv::Rect(0, 0, view.side, view.side)));
  return shown;
}

cv::Point2d Apply(const cv::Matx23d& m, cv::Point2d p) {
  return {m(0, 0) * p.x + m(0, 1) * p.y + m(0, 2), m(1, 0) * p.x + m(1, 1) * p.y + m(1, 2)};
}

// Of three points' images.
template <typename Image>
cv::Matx23d AffineOf(const Image& image) {
  const cv::Point2d zero = image({0, 0});
  const cv::Point2d x = image({1, 0}) - zero;
  const cv::Point2d y = image({0, 1}) - zero;
  return {x.x, y.x, zero.x, x.y, y.y, zero.y};
}

// A circle or a regular shape, standing on a side if it has four corners and is new.
std::vector<cv::Point2d> ShapeAround(cv::Point2d centre, double radius, const FateLook& look) {
  std::vector<cv::Point2d> path;
  const int corners = look.corners == 0 ? 48 : look.corners;
  // A shape with corners reaches out as far as clears the thing within.
  const double reach = look.corners == 0 ? radius : radius / std::cos(kPi / corners);
  const double start = look.corners == 4 ? kPi / 4 : -kPi / 2;
  for (int i = 0; i < corners; ++i) {
    const double angle = start + 2 * kPi * i / corners;
    path.push_back(centre + reach * cv::Point2d(std::cos(angle), std::sin(angle)));
  }
  return path;
}

// The outline, a few pixels farther out.
std::vector<cv::Point2d> PathAround(const std::vector<cv::Point2d>& outline, int side) {
  const int margin = static_cast<int>(kBeside_px) + 3;
  cv::Mat mask = cv::Mat::zeros(side + 2 * margin, side + 2 * margin, CV_8UC1);
  std::vector<cv::Point> polygon;
  for (const cv::Point2d& p : outline) {
    polygon.emplace_back(cvRound(p.x) + margin, cvRound(p.y) + margin);
  }
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{polygon}, cv::Scalar(255));
  cv::polylines(mask, polygon, true, cv::Scalar(255));
  const int across = 2 * static_cast<int>(kBeside_px) + 1;
  cv::dilate(mask, mask, cv::getStructuringElement(cv::MORPH_ELLIPSE, {across, across}));
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_SIMPLE);
  std::vector<cv::Point2d> path;
  if (contours.empty()) return path;
  const auto largest =
      std::max_element(contours.begin(), contours.end(), [](const auto& a, const auto& b) {
        return cv::contourArea(a) < cv::contourArea(b);
      });
  std::vector<cv::Point> simple;
  cv::approxPolyDP(*largest, simple, 1.0, true);
  for (const cv::Point& p : simple) path.emplace_back(p.x - margin, p.y - margin);
  return path;
}

std::vector<cv::Point2d> PathOf(const Attempt& attempt,
                                const Feature& feature,
                                const std::optional<cv::Matx23d>& to_first,
                                const View& view,
                                const FateLook& look) {
  const Scale& scale = attempt.grade.fibres.front().scale;
  const auto to_view = [&](cv::Point2d um) {
    return view.ToView(to_first ? Apply(*to_first, um) : um);
  };
  if (feature.diameter_enclosing_um <= kSmall_um || feature.outline_px.size() < 3) {
    const double radius = 0.5 * feature.diameter_enclosing_um * view.PxPerUm() + kBeside_px;
    return ShapeAround(to_view(feature.centre_um), radius, look);
  }
  std::vector<cv::Point2d> outline;
  for (const cv::Point2d& p : feature.outline_px) outline.push_back(to_view(scale.ToUm(p)));
  return PathAround(outline, view.side);
}

// A closed path in strokes and gaps.
void DrawDashed(cv::Mat& picture,
                const std::vector<cv::Point2d>& path,
                const std::vector<double>& dashes,
                double unit,
                double width,
                const Colour& colour) {
  std::size_t at = 0;
  double left = dashes.empty() ? 0 : dashes[0] * unit;
  for (std::size_t i = 0; i < path.size(); ++i) {
    const cv::Point2d from = path[i];
    const cv::Point2d to = path[(i + 1) % path.size()];
    if (dashes.empty()) {
      DrawSegment(picture, from, to, width, colour);
      continue;
    }
    const double length = cv::norm(to - from);
    double done = 0;
    while (done < length) {
      const double step = std::min(left, length - done);
      if (at % 2 == 0) {
        DrawSegment(picture,
                    from + (to - from) * (done / length),
                    from + (to - from) * ((done + step) / length),
                    width,
                    colour);
      }
      done += step;
      left -= step;
      if (left <= 1e-9) left = dashes[++at % dashes.size()] * unit;
    }
  }
}

void DrawPath(cv::Mat& picture, const std::vector<cv::Point2d>& path, const FateLook& look) {
  DrawDashed(picture, path, look.dashes, 2.2, look.width + 2.4, kBlack);
  DrawDashed(picture, path, look.dashes, 2.2, look.width, look.colour);
}

cv::Rect2d BoxOf(const std::vector<cv::Point2d>& path) {
  double x0 = 1e9;
  double y0 = 1e9;
  double x1 = -1e9;
  double y1 = -1e9;
  for (const cv::Point2d& p : path) {
    x0 = std::min(x0, p.x);
    x1 = std::max(x1, p.x);
    y0 = std::min(y0, p.y);
    y1 = std::max(y1, p.y);
  }
  return {x0, y0, x1 - x0, y1 - y0};
}

// A place beside the mark that no other number has.
std::optional<cv::Rect2d> PlaceNumber(const cv::Rect2d& mark,
                                      cv::Size2d label,
                                      const std::vector<cv::Rect2d>& taken,
                                      int side) {
  const cv::Point2d middle(mark.x + mark.width / 2, mark.y + mark.height / 2);
  for (int ring = 0; ring < 3; ++ring) {
    for (int i = 0; i < 8; ++i) {
      const double angle = -kPi / 4 + i * kPi / 4;
      const double far = 2 + ring * label.height;
      const cv::Point2d centre(
          middle.x + std::cos(angle) * (mark.width / 2 + label.width / 2 + far),
          middle.y + std::sin(angle) * (mark.height / 2 + label.height / 2 + far));
      const cv::Rect2d box(
          centre.x - label.width / 2, centre.y - label.height / 2, label.width, label.height);
      const bool inside =
          box.x > 1 && box.y > 1 && box.x + box.width < side - 1 && box.y + box.height < side - 1;
      const bool is_free = std::none_of(taken.begin(), taken.end(), [&](const cv::Rect2d& other) {
        return (box & other).area() > 0;
      });
      if (inside && is_free) return box;
    }
  }
  return std::nullopt;
}

}  // namespace

View ViewOf(const Limits& limits, int side) {
  return {0.5 * limits.RuledDiameter() + kBeyond_um, side};
}

cv::Mat PaintFace(const Attempt& attempt,
                  const std::optional<cv::Matx23d>& to_first,
                  const View& view) {
  if (attempt.grade.fibres.empty()) return PaintWhole(attempt.frame, view);
  const Scale& scale = attempt.grade.fibres.front().scale;
  cv::Mat pixels = Pixels(attempt.frame);
  // A fine photograph is smoothed to the view's pixels first, or it would sparkle.
  const double shrink = 1.0 / (view.PxPerUm() * scale.um_per_px);
  if (shrink > 1.2) cv::GaussianBlur(pixels, pixels, {}, 0.4 * std::sqrt(shrink * shrink - 1));
  const cv::Matx23d forward = AffineOf([&](cv::Point2d px) {
    const cv::Point2d um = scale.ToUm(px);
    return view.ToView(to_first ? Apply(*to_first, um) : um);
  });
  cv::Mat shown;
  cv::warpAffine(pixels,
                 shown,
                 forward,
                 {view.side, view.side},
                 shrink > 1 ? cv::INTER_LINEAR : cv::INTER_CUBIC,
                 cv::BORDER_CONSTANT,
                 cv::Scalar(kPaleGrey));
  return shown;
}

FateLook LookOf(Fate fate) {
  switch (fate) {
    case Fate::kGone:
      return {kSkyBlue, {3, 2.2}, 0, 2.2};
    case Fate::kStillThere:
      return {kOrange, {}, 0, 2.6};
    case Fate::kMoved:
      return {kReddishPurple, {6, 2, 1, 2}, 6, 2.6};
    case Fate::kNew:
      return {kVermillion, {}, 4, 3.4};
    case Fate::kCannotTell:
      break;
  }
  return {kYellow, {0.6, 2}, 0, 2.2};
}

std::vector<FaceMark> MarksOn(const Compared& compared, std::size_t attempt, const View& view) {
  std::vector<FaceMark> marks;
  for (const Track& track : compared.comparison.tracks) {
    const std::size_t first = track.FirstSeen();
    if (first > attempt) continue;
    // A photograph that shows it, or the one before it went.
    std::size_t from = attempt;
    const bool shown = track.steps[attempt].feature.has_value();
    if (!shown) {
      from = track.LastSeen();
      if (from > attempt) continue;
      if (!compared.comparison.to_first[from] || !compared.comparison.to_first[attempt]) continue;
    }
    const auto& features = compared.attempts[from].grade.fibres.front().features;
    FaceMark mark;
    mark.id = track.id;
    mark.fate = track.fate;
    mark.ghost = !shown;
    mark.path = PathOf(compared.attempts[from],
                       features[*track.steps[from].feature],
                       compared.comparison.to_first[from],
                       view,
                       LookOf(track.fate));
    if (!mark.path.empty()) marks.push_back(std::move(mark));
  }
  return marks;
}

std::vector<std::optional<cv::Rect2d>> PlaceNumbers(
    const std::vector<FaceMark>& marks,
    int side,
    const std::function<cv::Size2d(const std::string&)>& size_of) {
  std::vector<std::optional<cv::Rect2d>> places(marks.size());
  std::vector<cv::Rect2d> taken;
  for (std::size_t i = 0; i < marks.size() && i < kMostNumbers; ++i) {
    places[i] =
        PlaceNumber(BoxOf(marks[i].path), size_of(std::to_string(marks[i].id)), taken, side);
    if (places[i]) taken.push_back(*places[i]);
  }
  return places;
}

void DrawMarks(cv::Mat& picture, const std::vector<FaceMark>& marks, double em, TextPainter& text) {
  for (const FaceMark& mark : marks) DrawPath(picture, mark.path, LookOf(mark.fate));
  const auto places = PlaceNumbers(marks, picture.cols, [&](const std::string& number) {
    const TextStyle style{em, true};
    return cv::Size2d(text.Width(number, style) + 4, text.CapHeight(style) + 6);
  });
  for (std::size_t i = 0; i < marks.size(); ++i) {
    if (!places[i]) continue;
    const TextStyle style{em, true, LookOf(marks[i].fate).colour};
    text.DrawCased(picture,
                   {places[i]->x + 2, places[i]->y + places[i]->height - 3},
                   std::to_string(marks[i].id),
                   style,
                   2.0);
  }
}

void DrawLegendMark(cv::Mat& picture, cv::Point2d centre, double radius, Fate fate) {
  const FateLook look = LookOf(fate);
  DrawPath(picture, ShapeAround(centre, radius, look), look);
}

}  // namespace endgrade::compare_page
