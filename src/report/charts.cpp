#include "report/charts.h"

#include "present/words.h"
#include "report/html.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace endgrade::report {
namespace {

constexpr const char* kGreen = "#009e73";
constexpr const char* kBlue = "#0072b2";
constexpr const char* kRed = "#d55e00";
constexpr const char* kGrey = "#767676";

std::string N(double value) { return FixedWords(value, 2); }

std::string Line(double x1, double y1, double x2, double y2, const char* colour, double width) {
  return "<line x1=\"" + N(x1) + "\" y1=\"" + N(y1) + "\" x2=\"" + N(x2) + "\" y2=\"" + N(y2) +
         "\" stroke=\"" + colour + "\" stroke-width=\"" + N(width) + "\"/>";
}

std::string Words(double x, double y, const char* anchor, const std::string& text) {
  return "<text x=\"" + N(x) + "\" y=\"" + N(y) + "\" font-size=\"12\" fill=\"#1a1a1a\" " +
         "text-anchor=\"" + anchor + "\">" + HtmlText(text) + "</text>";
}

// Share and interval on a line of 400 units, `y` down.
std::string IntervalMark(const statistics::Interval& interval,
                         double share,
                         double y,
                         const char* colour,
                         double height) {
  return Line(400 * interval.low, y, 400 * interval.high, y, colour, 2) + "<rect x=\"" +
         N(400 * share - 2) + "\" y=\"" + N(y - height / 2) + "\" width=\"4\" height=\"" +
         N(height) + "\" fill=\"" + colour + "\"/>";
}

std::string Shade(int count, int most) {
  // From white to blue by the root, so that single features show beside a crowd.
  const double part = most > 0 ? std::sqrt(static_cast<double>(count) / most) : 0;
  const auto mix = [&](int full) {
    return static_cast<int>(std::lround(255 + part * (full - 255)));
  };
  char text[8];
  std::snprintf(text, sizeof text, "#%02x%02x%02x", mix(0), mix(0x72), mix(0xb2));
  return text;
}

}  // namespace

std::string Percent(double share) { return FixedWords(100 * share, 1) + " %"; }

std::string YieldBar(const summary::Yield& yield) {
  if (yield.trials == 0) return "";
  const double first = static_cast<double>(yield.first) / yield.trials;
  const double last = static_cast<double>(yield.last) / yield.trials;
  return "<svg viewBox=\"-4 0 408 22\" preserveAspectRatio=\"none\" role=\"img\" aria-label=\"" +
         HtmlText("first " + Percent(first) + ", last " + Percent(last)) + "\">" +
         "<rect x=\"0\" y=\"10\" width=\"400\" height=\"1\" fill=\"#c8c8c8\"/>" +
         IntervalMark(yield.first_interval, first, 6, kGrey, 8) +
         IntervalMark(yield.last_interval, last, 16, kGreen, 11) + "</svg>";
}

std::string CountBar(int count, int most) {
  const double width = most > 0 ? 400.0 * count / most : 0;
  return "<svg viewBox=\"0 0 400 22\" preserveAspectRatio=\"none\" role=\"img\" aria-label=\"" +
         std::to_string(count) + "\"><rect x=\"0\" y=\"4\" width=\"" + N(width) +
         "\" height=\"14\" fill=\"" + kRed + "\"/></svg>";
}

std::string MapChart(const summary::DensityMap& map, const std::vector<double>& ring_diameters_um) {
  constexpr double kSide = 2 * summary::kMapHalf_um / summary::kMapCells;
  std::string svg = "<svg viewBox=\"-135 -135 270 270\" role=\"img\" aria-label=\"" +
                    HtmlText("map of " + std::to_string(map.total) + " features over the face") +
                    "\">";
  for (int row = 0; row < summary::kMapCells; ++row) {
    for (int column = 0; column < summary::kMapCells; ++column) {
      const int count = map.counts[static_cast<std::size_t>(row)][static_cast<std::size_t>(column)];
      if (count == 0) continue;
      svg += "<rect x=\"" + N(column * kSide - summary::kMapHalf_um) + "\" y=\"" +
             N(row * kSide - summary::kMapHalf_um) + "\" width=\"" + N(kSide) + "\" height=\"" +
             N(kSide) + "\" fill=\"" + Shade(count, map.most) + "\"><title>" +
             std::to_string(count) + "</title></rect>";
    }
  }
  for (const double diameter : ring_diameters_um) {
    svg += "<circle r=\"" + N(diameter / 2) +
           "\" fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"0.7\"/>";
  }
  return svg + Line(75, 131, 125, 131, "#1a1a1a", 1.5) +
         "<text x=\"100\" y=\"128\" font-size=\"8\" text-anchor=\"middle\">50 um</text></svg>";
}

std::string TrendChart(const statistics::ControlChart& chart) {
  if (chart.points.empty()) return "";
  constexpr double kLeft = 48, kRight = 470, kTop = 12, kBottom = 210;
  double most = 0.05;
  for (const auto& point : chart.points) most = std::max({most, point.share, point.high});
  most = std::min(1.0, std::ceil(most * 20) / 20);
  const auto n = static_cast<double>(chart.points.size());
  const double step = (kRight - kLeft) / n;
  const auto x = [&](std::size_t i) { return kLeft + step * (static_cast<double>(i) + 0.5); };
  const auto y = [&](double share) { return kBottom - (kBottom - kTop) * share / most; };
  std::string svg =
      "<svg viewBox=\"0 0 480 250\" role=\"img\" aria-label=\"share of faces that do not pass at "
      "first, by day, with control limits\">";
  for (const double share : {0.0, most / 2, most}) {
    svg += Line(kLeft, y(share), kRight, y(share), "#dddddd", 1) +
           Words(kLeft - 6, y(share) + 4, "end", FixedWords(100 * share, 1) + " %");
  }
  svg += Line(kLeft, y(chart.mean), kRight, y(chart.mean), kGreen, 1.5);
  std::string path;
  for (std::size_t i = 0; i < chart.points.size(); ++i) {
    const auto& point = chart.points[i];
    for (const double limit : {point.low, point.high}) {
      svg += Line(x(i) - step / 2, y(limit), x(i) + step / 2, y(limit), kRed, 1);
    }
    path += (path.empty() ? "M" : "L") + N(x(i)) + " " + N(y(point.share));
  }
  svg += "<path d=\"" + path + "\" fill=\"none\" stroke=\"" + kBlue + "\" stroke-width=\"1.2\"/>";
  for (std::size_t i = 0; i < chart.points.size(); ++i) {
    const auto& point = chart.points[i];
    const std::string words = point.name + ": " + Percent(point.share) + " of " +
                              std::to_string(point.trials) + (point.outside ? ", outside" : "");
    svg += point.outside ? "<rect x=\"" + N(x(i) - 5) + "\" y=\"" + N(y(point.share) - 5) +
                               "\" width=\"10\" height=\"10\" fill=\"" + kRed + "\">"
                         : "<circle cx=\"" + N(x(i)) + "\" cy=\"" + N(y(point.share)) +
                               "\" r=\"3.5\" fill=\"" + kBlue + "\">";
    svg += "<title>" + HtmlText(words) + "</title>" + (point.outside ? "</rect>" : "</circle>");
  }
  svg += Words(x(0), kBottom + 18, "start", chart.points.front().name);
  if (chart.points.size() > 1) {
    svg += Words(kRight, kBottom + 18, "end", chart.points.back().name);
  }
  return svg +
         Words(
             kLeft, kBottom + 36, "start", "green: mean; red lines: limits; red square: outside") +
         "</svg>";
}

}  // namespace endgrade::report
