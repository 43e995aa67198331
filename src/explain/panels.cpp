#include "explain/panels.h"

#include "present/strip_words.h"
#include "present/words.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade::explain {
namespace {

constexpr double kPi = 3.14159265358979323846;

Colour Mixed(const Colour& from, const Colour& to, double share) {
  Colour mixed;
  for (int i = 0; i < 3; ++i) {
    mixed[i] = cv::saturate_cast<std::uint8_t>(from[i] + share * (to[i] - from[i]));
  }
  return mixed;
}

// The part of the crop that is in the picture, in colour, 8 bits.
cv::Mat Pixels(const Frame& frame, const cv::Rect& inside) {
  cv::Mat shown;
  if (!frame.colour.empty()) return frame.colour(inside).clone();
  cv::Mat grey;
  frame.luma(inside).convertTo(grey, CV_8U, 255.0 / frame.white_level);
  cv::cvtColor(grey, shown, cv::COLOR_GRAY2BGR);
  return shown;
}

}  // namespace

cv::Point2d View::ToPanel(cv::Point2d p_px) const {
  const double m = Magnification();
  return {(p_px.x - crop_px.x + 0.5) * m - 0.5, (p_px.y - crop_px.y + 0.5) * m - 0.5};
}

cv::Point2d View::FromPanel(cv::Point2d p) const {
  const double m = Magnification();
  return {(p.x + 0.5) / m - 0.5 + crop_px.x, (p.y + 0.5) / m - 0.5 + crop_px.y};
}

Colour ValueScale::ColourOf(double value) const {
  if (value >= kNoValue || !std::isfinite(value)) return kPaleGrey;
  if (diverging) {
    const double share = value < 0 ? value / low : value / high;
    return Mixed(kWhite, value < 0 ? kBlue : kVermillion, std::clamp(share, 0.0, 1.0));
  }
  return Mixed(kBlack, kWhite, std::clamp((value - low) / (high - low), 0.0, 1.0));
}

cv::Mat PaintPhotographView(const Frame& frame, const View& view) {
  const cv::Rect inside = view.crop_px & cv::Rect({0, 0}, frame.luma.size());
  cv::Mat whole(view.crop_px.size(), CV_8UC3, cv::Scalar(kPaleGrey));
  if (!inside.empty()) Pixels(frame, inside).copyTo(whole(inside - view.crop_px.tl()));
  cv::Mat panel;
  const int how = view.Magnification() >= 1 ? cv::INTER_NEAREST : cv::INTER_AREA;
  cv::resize(whole, panel, cv::Size(view.side, view.side), 0, 0, how);
  return panel;
}

cv::Mat PaintValues(const View& view,
                    const ValueScale& scale,
                    const std::function<double(cv::Point2d)>& value_at) {
  cv::Mat panel(view.side, view.side, CV_8UC3);
  for (int y = 0; y < panel.rows; ++y) {
    auto* row = panel.ptr<cv::Vec3b>(y);
    for (int x = 0; x < panel.cols; ++x) {
      row[x] = scale.ColourOf(value_at(view.FromPanel(cv::Point2d(x, y))));
    }
  }
  return panel;
}

void DrawClosed(cv::Mat& panel,
                const View& view,
                const std::vector<cv::Point2d>& outline_px,
                const Colour& colour,
                double width) {
  for (const bool rim : {true, false}) {
    for (std::size_t i = 0; i < outline_px.size(); ++i) {
      const cv::Point2d a = view.ToPanel(outline_px[i]);
      const cv::Point2d b = view.ToPanel(outline_px[(i + 1) % outline_px.size()]);
      DrawSegment(panel, a, b, rim ? width + 2 : width, rim ? kBlack : colour);
    }
  }
}

namespace {

// On the first of a few directions in which the letter's place is well inside the panel.
void DrawZoneLetter(cv::Mat& panel,
                    const View& view,
                    const Zone& zone,
                    const Scale& scale,
                    double em,
                    TextPainter& text) {
  const double radius = zone.inner_diameter_um > 0
                            ? 0.25 * (zone.inner_diameter_um + zone.outer_diameter_um)
                            : 0.44 * zone.outer_diameter_um;
  for (int i = 0; i < 24; ++i) {
    const double angle = -0.25 * kPi + 2 * kPi * i / 24;
    const cv::Point2d p =
        view.ToPanel(scale.ToPx({radius * std::cos(angle), radius * std::sin(angle)}));
    if (p.x < em || p.y < 1.5 * em || p.x > view.side - 1.5 * em || p.y > view.side - 3 * em) {
      continue;
    }
    const TextStyle style{em, true, kSkyBlue};
    const double width = text.Width(zone.name, style);
    text.DrawCased(panel, {p.x - width / 2, p.y + 0.36 * em}, zone.name, style, 1.5);
    return;
  }
}

}  // namespace

void DrawZones(cv::Mat& panel,
               const View& view,
               const Limits& limits,
               const Scale& scale,
               double em,
               TextPainter& text) {
  constexpr int kPieces = 720;
  for (const Zone& zone : limits.zones) {
    const double radius = 0.5 * zone.outer_diameter_um;
    for (int i = 0; i < kPieces; ++i) {
      const double a = 2 * kPi * i / kPieces;
      const double b = 2 * kPi * (i + 1) / kPieces;
      const auto at = [&](double angle) {
        return view.ToPanel(scale.ToPx({radius * std::cos(angle), radius * std::sin(angle)}));
      };
      const cv::Point2d from = at(a);
      if (from.x < -9 || from.y < -9 || from.x > view.side + 9 || from.y > view.side + 9) continue;
      DrawSegment(panel, from, at(b), 1.6, kSkyBlue);
    }
    DrawZoneLetter(panel, view, zone, scale, em, text);
  }
}

void DrawScaleBar(cv::Mat& panel, const View& view, const Scale& scale, double em, TextPainter& t) {
  const cv::Point2d step_um = scale.ToUm(scale.centre_px + cv::Point2d(1, 0));
  const double um_per_panel_px = std::hypot(step_um.x, step_um.y) / view.Magnification();
  double length_um = 0;
  for (double decade = 0.01; decade < 1e4; decade *= 10) {
    for (const double step : {1.0, 2.0, 5.0}) {
      if (step * decade / um_per_panel_px <= 0.4 * view.side) length_um = step * decade;
    }
  }
  const double length = length_um / um_per_panel_px;
  const TextStyle style{em, true, kBlack};
  const std::string words = Typeset(FixedWords(length_um, length_um < 1 ? 2 : 0) + " um");
  const double width = std::max(length, t.Width(words, style));
  const double top = view.side - 2.4 * em;
  FillRounded(panel, {0.4 * em, top, width + 0.8 * em, 2.0 * em}, 0.2 * em, kWhite);
  t.Draw(panel, {0.8 * em, top + 1.1 * em}, words, style);
  const double y = top + 1.55 * em;
  DrawSegment(panel, {0.8 * em, y}, {0.8 * em + length, y}, 0.2 * em, kBlack);
}

void DrawValueBar(cv::Mat& sheet,
                  const cv::Rect2d& box,
                  const ValueScale& scale,
                  const std::vector<std::pair<double, std::string>>& marks,
                  double em,
                  TextPainter& text) {
  const auto x_of = [&](double value) {
    return box.x + box.width * (value - scale.low) / (scale.high - scale.low);
  };
  for (int x = 0; x < static_cast<int>(box.width); ++x) {
    const double value = scale.low + (scale.high - scale.low) * (x + 0.5) / box.width;
    DrawSegment(sheet,
                {box.x + x, box.y + 1},
                {box.x + x, box.y + box.height - 1},
                1.0,
                scale.ColourOf(value));
  }
  DrawSegment(sheet, box.tl(), {box.br().x, box.y}, 1.2, kGrey);
  DrawSegment(sheet, {box.x, box.br().y}, box.br(), 1.2, kGrey);
  const TextStyle style{em, false, kBlack};
  for (const auto& [value, label] : marks) {
    const double x = x_of(value);
    DrawSegment(sheet, {x, box.y}, {x, box.br().y + 0.25 * em}, 2.0, kBlack);
    const double width = text.Width(label, style);
    const double left = std::clamp(x - width / 2, box.x, box.br().x - width);
    text.Draw(sheet, {left, box.br().y + 1.25 * em}, label, style);
  }
}

namespace {

// Round numbers that cut a range into three to eight parts.
std::vector<double> Ticks(double low, double high) {
  double step = std::pow(10.0, std::floor(std::log10((high - low) / 3)));
  for (const double factor : {1.0, 2.0, 5.0, 10.0}) {
    if ((high - low) / (step * factor) <= 7) {
      step *= factor;
      break;
    }
  }
  std::vector<double> ticks;
  for (double t = std::ceil(low / step) * step; t <= high + 1e-9 * step; t += step) {
    ticks.push_back(std::abs(t) < 1e-9 * step ? 0.0 : t);
  }
  return ticks;
}

std::string TickWords(double value, double span) {
  return FixedWords(value, span < 2 ? 2 : span < 8 ? 1 : 0);
}

// A graph's inside and the way from values to the sheet.
struct Axes {
  cv::Rect2d box;
  double x_low, x_high, y_low, y_high;
  [[nodiscard]] cv::Point2d At(double x, double y) const {
    return {box.x + box.width * (x - x_low) / (x_high - x_low),
            box.br().y - box.height * (y - y_low) / (y_high - y_low)};
  }
};

void DrawAxes(cv::Mat& sheet, const Axes& axes, double em, TextPainter& text) {
  const TextStyle style{em, false, kBlack};
  for (const double x : Ticks(axes.x_low, axes.x_high)) {
    const cv::Point2d p = axes.At(x, axes.y_low);
    DrawSegment(sheet, {p.x, axes.box.y}, p, 1.0, kPaleGrey);
    const std::string label = TickWords(x, axes.x_high - axes.x_low);
    text.Draw(sheet, {p.x - text.Width(label, style) / 2, p.y + 1.3 * em}, label, style);
  }
  for (const double y : Ticks(axes.y_low, axes.y_high)) {
    const cv::Point2d p = axes.At(axes.x_low, y);
    DrawSegment(sheet, p, {axes.box.br().x, p.y}, 1.0, kPaleGrey);
    const std::string label = TickWords(y, axes.y_high - axes.y_low);
    text.Draw(sheet, {p.x - text.Width(label, style) - 0.5 * em, p.y + 0.36 * em}, label, style);
  }
  DrawSegment(sheet, axes.box.tl(), {axes.box.x, axes.box.br().y}, 2.0, kBlack);
  DrawSegment(sheet, {axes.box.x, axes.box.br().y}, axes.box.br(), 2.0, kBlack);
}

void DrawCurve(cv::Mat& sheet,
               const Axes& axes,
               const std::vector<double>& x,
               const std::vector<double>& y,
               double width,
               const Colour& colour) {
  for (std::size_t i = 1; i < std::min(x.size(), y.size()); ++i) {
    DrawSegment(sheet, axes.At(x[i - 1], y[i - 1]), axes.At(x[i], y[i]), width, colour);
  }
}

void DrawDashed(
    cv::Mat& sheet, cv::Point2d from, cv::Point2d to, double width, const Colour& colour) {
  const double length = std::hypot(to.x - from.x, to.y - from.y);
  const cv::Point2d unit = (to - from) * (1.0 / std::max(1e-9, length));
  for (double at = 0; at < length; at += 14) {
    DrawSegment(sheet, from + unit * at, from + unit * std::min(length, at + 8), width, colour);
  }
}

// Values held together, with a margin above and below.
std::pair<double, double> Span(const ProfileAcross& profile, double noise) {
  double low = std::min(-2 * noise, profile.base_level);
  double high = std::max(2 * noise, profile.base_level);
  for (const auto* values : {&profile.level, &profile.raw, &profile.model}) {
    for (const double value : *values) {
      low = std::min(low, value);
      high = std::max(high, value);
    }
  }
  const double margin = 0.06 * std::max(1.0, high - low);
  return {low - margin, high + margin};
}

}  // namespace

void DrawProfile(cv::Mat& sheet,
                 const cv::Rect2d& box,
                 const ProfileAcross& profile,
                 double noise,
                 double em,
                 TextPainter& text) {
  if (profile.offset_um.size() < 2) return;
  const auto [low, high] = Span(profile, noise);
  const TextStyle style{em, false, kBlack};
  const double left = 4.2 * em;
  Axes axes{{box.x + left, box.y + 1.8 * em, box.width - left - em, box.height - 7.6 * em},
            profile.offset_um.front(),
            profile.offset_um.back(),
            low,
            high};
  const cv::Point2d band_top = axes.At(axes.x_low, noise);
  const cv::Point2d band_end = axes.At(axes.x_high, -noise);
  const cv::Rect whole_band{cv::Point(band_top), cv::Point(band_end)};
  const cv::Rect band = whole_band & cv::Rect({0, 0}, sheet.size());
  sheet(band).setTo(cv::Scalar(238, 238, 238));
  DrawAxes(sheet, axes, em, text);
  text.Draw(sheet, {box.x, box.y + em}, "grey levels above the clean face", style);
  const std::string x_title = Typeset("um across the feature");
  text.Draw(sheet,
            {axes.box.br().x - text.Width(x_title, style), axes.box.br().y + 2.7 * em},
            x_title,
            style);

  DrawCurve(sheet, axes, profile.offset_um, profile.raw, 1.5, kSkyBlue);
  DrawCurve(sheet, axes, profile.offset_um, profile.level, 3.0, kBlack);
  DrawCurve(sheet, axes, profile.offset_um, profile.model, 3.0, kVermillion);
  const bool fitted = !profile.model.empty();
  const bool patch = !profile.raw.empty();
  if (patch) {
    DrawDashed(sheet,
               axes.At(axes.x_low, profile.border_level),
               axes.At(axes.x_high, profile.border_level),
               2.0,
               kVermillion);
  }
  for (const double at : profile.border_um) {
    if (at < axes.x_low || at > axes.x_high) continue;
    DrawDashed(sheet, axes.At(at, axes.y_low), axes.At(at, axes.y_high), 2.0, kBluishGreen);
  }

  // The legend: line and words, from left to right, on as many rows as it takes.
  struct Entry {
    Colour colour;
    double width;
    std::string words;
  };
  std::vector<Entry> entries = {{kBlack, 3.0, patch ? "smoothed" : "measured, mean along it"}};
  if (patch) entries.push_back({kSkyBlue, 1.5, "as it is"});
  if (patch) entries.push_back({kVermillion, 2.0, "half height"});
  if (fitted) entries.push_back({kVermillion, 3.0, "bar seen through the blur"});
  entries.push_back({kBluishGreen, 2.0, patch ? "border" : fitted ? "fitted width" : "width"});
  entries.push_back({Colour(215, 215, 215), 0.7 * em, "noise of the response"});
  double x = box.x + 0.4 * em;
  double y = axes.box.br().y + 4.2 * em;
  for (const Entry& entry : entries) {
    const double needed = 2.4 * em + text.Width(entry.words, style) + 1.2 * em;
    if (x + needed > box.br().x) {
      x = box.x + 0.4 * em;
      y += 1.5 * em;
    }
    DrawSegment(sheet,
                {x + 0.4 * em, y - 0.3 * em},
                {x + 1.7 * em, y - 0.3 * em},
                entry.width,
                entry.colour);
    text.Draw(sheet, {x + 2.4 * em, y}, entry.words, style);
    x += needed;
  }
}

}  // namespace endgrade::explain
