#include "present/strip.h"

#include "present/escape.h"
#include "present/strip_words.h"
#include "present/words.h"
#include "present/zone_rings.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kMostReasonLines = 9;
constexpr int kMostFeatureLines = 6;
constexpr double kLeading = 1.38;  // line to line, ems of the text

const Colour kInk{26, 26, 26};

// Lines of text and small drawings from the top of a column down.
class Column {
 public:
  Column(cv::Mat& canvas, TextPainter& text, double em, double left, double top, double width)
      : canvas_(canvas), text_(text), em_(em), left_(left), y_(top), width_(width) {}

  [[nodiscard]] double y() const { return y_; }
  void Skip(double ems) { y_ += ems * em_; }

  void Line(const std::string& words, double ems, bool bold = false, const Colour& colour = kInk) {
    const TextStyle style{ems * em_, bold, colour};
    Put(text_.Elided(words, style, width_), style, 0);
  }

  // After a bullet, up to `most` lines; returns how many it took, or 0 without drawing where the
  // whole does not fit.
  int Paragraph(const std::string& words, double ems, int most, const Colour& colour) {
    const TextStyle style{ems * em_, false, colour};
    const auto lines = text_.Wrap(words, style, width_ - Indent());
    if (lines.size() > static_cast<std::size_t>(most)) return 0;
    PutBulleted(lines, style);
    return static_cast<int>(lines.size());
  }

  // The start of a paragraph of which only `most` lines fit.
  void CutParagraph(const std::string& words, double ems, int most, const Colour& colour) {
    const TextStyle style{ems * em_, false, colour};
    auto lines = text_.Wrap(words, style, width_ - Indent());
    lines.resize(std::min(lines.size(), static_cast<std::size_t>(most)));
    lines.back() = text_.Elided(lines.back() + " \u2026", style, width_ - Indent());
    PutBulleted(lines, style);
  }

  // A sample, drawn by `draw(centre, box)` within `sample_ems` of width, and its words.
  template <typename Draw>
  void Sample(const std::string& words, double ems, double sample_ems, const Draw& draw) {
    const TextStyle style{ems * em_, false, kInk};
    const double height = kLeading * style.size_px;
    draw(cv::Rect2d(left_, y_, sample_ems * em_, height));
    const double indent = (sample_ems + 0.6) * em_;
    for (const std::string& line : text_.Wrap(words, style, width_ - indent)) {
      Put(line, style, indent);
    }
  }

  cv::Mat& canvas() { return canvas_; }
  TextPainter& text() { return text_; }
  [[nodiscard]] double em() const { return em_; }
  [[nodiscard]] double left() const { return left_; }
  [[nodiscard]] double width() const { return width_; }

 private:
  [[nodiscard]] double Indent() const { return 0.85 * em_; }

  void PutBulleted(const std::vector<std::string>& lines, const TextStyle& style) {
    const double side = 0.3 * style.size_px;
    const double y = y_ + kLeading * style.size_px / 2 - side / 2;
    FillRounded(canvas_, {left_, y, side, side}, 0.2 * side, style.colour);
    for (const std::string& line : lines) Put(line, style, Indent());
    y_ += 0.15 * style.size_px;
  }

  void Put(const std::string& words, const TextStyle& style, double indent) {
    const double height = kLeading * style.size_px;
    const double baseline = y_ + (height + text_.CapHeight(style)) / 2;
    text_.Draw(canvas_, {left_ + indent, baseline}, words, style);
    y_ += height;
  }

  cv::Mat& canvas_;
  TextPainter& text_;
  double em_;
  double left_;
  double y_;
  double width_;
};

struct Badge {
  Colour ground;
  Colour ink;
  const char* sign;
};

// Each verdict differs from the others in word, sign and brightness, not in colour alone.
Badge BadgeOf(Verdict verdict) {
  switch (verdict) {
    case Verdict::kPass:
      return {kBluishGreen, kWhite, "\u2714"};
    case Verdict::kFail:
      return {kVermillion, kWhite, "\u2718"};
    case Verdict::kUngradable:
      break;
  }
  return {kYellow, kBlack, "?"};
}

void DrawBadge(Column& column, const Grade& grade) {
  const Badge badge = BadgeOf(grade.verdict);
  const double height = 3.4 * column.em();
  const cv::Rect2d box(column.left(), column.y(), column.width(), height);
  FillRounded(column.canvas(), box, 0.35 * column.em(), badge.ground);
  const std::string words = std::string(badge.sign) + " " + VerdictWords(grade.verdict);
  TextStyle style{2.4 * column.em(), true, badge.ink};
  const double room = column.width() - 1.4 * column.em();
  const double width = column.text().Width(words, style);
  style.size_px *= std::min(1.0, room / width);
  column.text().Draw(column.canvas(),
                     {box.x + (box.width - column.text().Width(words, style)) / 2,
                      box.y + (height + column.text().CapHeight(style)) / 2},
                     words,
                     style);
  column.Skip(3.4 + 0.45);
  if (grade.marginal) column.Line("Marginal: within the uncertainty", 0.92, true);
}

const Feature* FindFeature(const Grade& grade, const std::string& id) {
  if (grade.fibres.empty()) return nullptr;
  for (const Feature& feature : grade.fibres[0].features) {
    if (std::to_string(feature.id) == id) return &feature;
  }
  return nullptr;
}

void DrawNumberedFeatures(Column& column, const StripContent& content) {
  if (content.grade.fibres.empty()) return;
  const auto& features = content.grade.fibres[0].features;
  const auto broken = static_cast<int>(std::count_if(
      features.begin(), features.end(), [](const Feature& f) { return !f.breaks.empty(); }));
  const int numbered = static_cast<int>(content.numbers.size());
  const int listed =
      std::min(numbered, broken > kMostFeatureLines ? kMostFeatureLines - 1 : broken);
  const double em = 0.78 * column.em();
  const LineSizes sizes(em);
  double widest = 0;
  for (int i = 0; i < listed; ++i) {
    const std::string& id = content.numbers[static_cast<std::size_t>(i)].text;
    widest = std::max(widest, NumberBoxSize(id, em, column.text()).width + 2 * sizes.Rim());
  }
  for (int i = 0; i < listed; ++i) {
    const std::string& id = content.numbers[static_cast<std::size_t>(i)].text;
    const Feature* feature = FindFeature(content.grade, id);
    if (!feature) continue;
    const std::string words = FeatureWords(*feature, content.limits);
    column.Sample(words, 0.92, widest / column.em(), [&](const cv::Rect2d& room) {
      const cv::Size2d size = NumberBoxSize(id, em, column.text());
      const double top = room.y + (room.height - size.height) / 2;
      DrawNumberBox(column.canvas(),
                    {room.x + sizes.Rim(), top, size.width, size.height},
                    id,
                    sizes,
                    em,
                    column.text());
    });
  }
  const auto say = [&](const std::string& words) { column.Line(words, 0.92, false, kGrey); };
  const int unlisted = broken - listed;
  const int unnumbered = broken - numbered;
  const bool all_alike = unlisted == unnumbered;
  if (unlisted > 0) {
    say((listed > 0 ? "and " : "") + std::to_string(unlisted) +
        (listed > 0 ? " more" : " break a rule") + (all_alike ? ", without a number" : ""));
  }
  if (unnumbered > 0 && !all_alike) say(std::to_string(unnumbered) + " of them without a number");
}

void DrawReasons(Column& column, const StripContent& content) {
  column.Line(PictureName(content.frame), 1.15, true);
  column.Line(Typeset(content.limits.title), 0.92);
  column.Line(Typeset(content.limits.edition), 0.92, false, kGrey);
  column.Skip(0.35);
  const auto paragraphs = StripParagraphs(content.limits, content.grade);
  int left = kMostReasonLines;
  for (std::size_t i = 0; i < paragraphs.size(); ++i) {
    const bool is_last = i + 1 == paragraphs.size();
    const Colour& colour = paragraphs[i].is_warning ? kGrey : kInk;
    const int taken = column.Paragraph(paragraphs[i].text, 0.92, left - (is_last ? 0 : 1), colour);
    left -= taken;
    if (taken > 0) continue;
    // The first one is always shown, in part if need be.
    const bool cut = i == 0;
    if (cut) column.CutParagraph(paragraphs[i].text, 0.92, left - (is_last ? 0 : 1), colour);
    const std::size_t more = paragraphs.size() - i - (cut ? 1 : 0);
    if (more > 0)
      column.Line("and " + std::to_string(more) + " more, in the record", 0.92, false, kGrey);
    return;
  }
}

// The longest of 1, 2, 5, 10, ... um that takes no more than `room_px`.
double BarLength(double um_per_px, double room_px) {
  double best = 0;
  for (double decade = 0.01; decade < 1e6; decade *= 10) {
    for (const double step : {1.0, 2.0, 5.0}) {
      if (step * decade / um_per_px <= room_px) best = step * decade;
    }
  }
  return best;
}

void DrawScaleBar(Column& column, const StripContent& content) {
  if (content.grade.fibres.empty()) return;
  const Scale& scale = content.grade.fibres[0].scale;
  // Along the bar, that is along x.
  const cv::Point2d step_um = scale.ToUm(scale.centre_px + cv::Point2d(1, 0));
  const double um_per_px = std::hypot(step_um.x, step_um.y) / content.photograph.scale_x;
  if (!std::isfinite(um_per_px) || um_per_px <= 0) return;
  const double em = column.em();
  const double length_um = BarLength(um_per_px, column.width() - 5.5 * em);
  if (length_um <= 0) return;
  const double length_px = length_um / um_per_px;
  const double y = column.y() + 0.8 * em;
  const double tick = 0.45 * em;
  const double line = 0.14 * em;
  const double left = column.left() + line / 2;
  DrawSegment(column.canvas(), {left, y}, {left + length_px, y}, line, kInk);
  DrawSegment(column.canvas(), {left, y - tick}, {left, y + tick}, line, kInk);
  DrawSegment(
      column.canvas(), {left + length_px, y - tick}, {left + length_px, y + tick}, line, kInk);
  const TextStyle style{1.05 * em, true, kInk};
  column.text().Draw(column.canvas(),
                     {left + length_px + 0.7 * em, y + column.text().CapHeight(style) / 2},
                     Typeset(FixedWords(length_um, length_um < 1 ? 2 : 0) + " um"),
                     style);
  column.Skip(1.75);
}

std::string ZoneDiameters(const Limits& limits) {
  std::string text;
  for (const Zone& zone : limits.zones) {
    text += (text.empty() ? "" : ", ") + zone.name + " " + FixedWords(zone.outer_diameter_um, 0);
  }
  return Typeset("zones to " + text + " um");
}

// A line as it is drawn on the photograph, on the mid grey of a photograph.
void DrawLineSample(
    Column& column, const cv::Rect2d& room, double width, double rim, const Colour& colour) {
  const double y = room.y + room.height / 2;
  const double inset = (width + 2 * rim) / 2;
  const cv::Point2d from(room.x + inset, y);
  const cv::Point2d to(room.br().x - inset, y);
  DrawSegment(column.canvas(), from, to, width + 2 * rim, kBlack);
  DrawSegment(column.canvas(), from, to, width, colour);
}

void DrawLegend(Column& column, const StripContent& content) {
  for (const std::string& fact : FactLines(content.grade)) column.Line(fact, 0.85);
  if (content.grade.fibres.empty()) return;
  column.Skip(0.3);
  const LineSizes sizes(column.em());
  column.Sample("breaks a rule: heavy line, number", 0.85, 2.4, [&](const cv::Rect2d& room) {
    DrawLineSample(column, room, sizes.Heavy(), sizes.Rim(), BrokenColour());
  });
  column.Sample("allowed: thin line", 0.85, 2.4, [&](const cv::Rect2d& room) {
    DrawLineSample(column, room, sizes.Thin(), sizes.Rim(), AllowedColour());
  });
  column.Sample(ZoneDiameters(content.limits), 0.85, 2.4, [&](const cv::Rect2d& room) {
    DrawLineSample(column, room, sizes.Ring(), 1.0, RingColour());
  });
}

void DrawFooter(Column& column, const StripContent& content) {
  const TextStyle style{0.72 * column.em(), false, kGrey};
  const std::string right =
      "A grade by image does not replace insertion-loss and return-loss measurement.";
  const double right_width = column.text().Width(right, style);
  const double baseline = column.y() + 0.95 * column.em();
  column.text().Draw(
      column.canvas(), {column.left() + column.width() - right_width, baseline}, right, style);
  const std::string left = column.text().Elided(ProvenanceLine(content.frame, content.limits),
                                                style,
                                                column.width() - right_width - 2 * column.em());
  column.text().Draw(column.canvas(), {column.left(), baseline}, left, style);
  column.Skip(1.5);
}

}  // namespace

int DrawStrip(
    cv::Mat& canvas, int top, const StripContent& content, double em_px, TextPainter& text) {
  const double width = canvas.cols;
  const double pad = em_px;
  const double first = top + 0.9 * em_px;
  const double left_width = 0.235 * width;
  const double right_width = 0.27 * width;
  const double middle = pad + left_width + 1.4 * em_px;
  const double right = width - pad - right_width;
  Column verdict(canvas, text, em_px, pad, first, left_width);
  Column reasons(canvas, text, em_px, middle, first, right - 1.4 * em_px - middle);
  Column legend(canvas, text, em_px, right, first, right_width);
  DrawBadge(verdict, content.grade);
  DrawNumberedFeatures(verdict, content);
  DrawReasons(reasons, content);
  DrawScaleBar(legend, content);
  DrawLegend(legend, content);
  Column footer(canvas,
                text,
                em_px,
                pad,
                std::max({verdict.y(), reasons.y(), legend.y()}) + 0.3 * em_px,
                width - 2 * pad);
  DrawFooter(footer, content);
  return std::min(canvas.rows, static_cast<int>(std::ceil(footer.y())));
}

}  // namespace endgrade
