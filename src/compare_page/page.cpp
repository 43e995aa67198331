#include "compare_page/page.h"

#include "compare_page/comparison_words.h"
#include "compare_page/face_view.h"
#include "comparison_parts.h"
#include "endgrade/version.h"
#include "evidence/carried.h"
#include "present/encode.h"
#include "present/escape.h"
#include "present/strip_words.h"
#include "present/words.h"
#include "report/html.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <kainjow/mustache.hpp>
#include <string_view>

namespace endgrade::compare_page {
namespace {

using kainjow::mustache::data;

constexpr int kSide = 1000;
constexpr int kQuality = 88;
constexpr std::size_t kShaDigits = 16;
constexpr double kDashUnit = 2.2;

const char* SignOf(Verdict verdict) {
  switch (verdict) {
    case Verdict::kPass:
      return "\u2713";
    case Verdict::kFail:
      return "\u2715";
    case Verdict::kUngradable:
      break;
  }
  return "?";
}

std::string Hex(const Colour& colour) {
  char text[8];
  std::snprintf(text, sizeof text, "#%02x%02x%02x", colour[2], colour[1], colour[0]);
  return text;
}

std::string Number(double value) { return FixedWords(value, 1); }

// Drawn twice, dark below light, so that it shows on any picture.
std::string SvgPath(const std::vector<cv::Point2d>& path, Fate fate) {
  const FateLook look = LookOf(fate);
  std::string points = "M";
  for (const cv::Point2d& p : path) {
    points.append(Number(p.x)).append(" ").append(Number(p.y)).append("L");
  }
  points.back() = 'Z';
  std::string dashes;
  for (const double dash : look.dashes) {
    dashes += (dashes.empty() ? "" : " ") + Number(dash * kDashUnit);
  }
  const std::string style = dashes.empty() ? "" : " stroke-dasharray=\"" + dashes + "\"";
  std::string svg;
  for (const bool rim : {true, false}) {
    svg += "<path d=\"" + points + "\" fill=\"none\" stroke=\"" +
           (rim ? "#000" : Hex(look.colour)) + "\" stroke-width=\"" +
           Number(look.width + (rim ? 2.6 : 0.4)) + "\" vector-effect=\"non-scaling-stroke\"" +
           style + "/>";
  }
  return svg;
}

// Digits of DejaVu Sans Bold are 0.7 em wide and high.
constexpr double kEm = 26;
constexpr double kDigit = 0.7 * kEm;

std::string SvgNumber(const FaceMark& mark, const cv::Rect2d& place) {
  const std::string at = "x=\"" + Number(place.x + place.width / 2) + "\" y=\"" +
                         Number(place.y + place.height - 3) + "\"";
  const std::string id = std::to_string(mark.id);
  return "<text " + at + " stroke=\"#000\" stroke-width=\"5\">" + id + "</text><text " + at +
         " fill=\"" + Hex(LookOf(mark.fate).colour) + "\">" + id + "</text>";
}

std::string SvgMarks(const std::vector<FaceMark>& marks, int side) {
  const std::string size = std::to_string(side);
  std::string svg = "<svg viewBox=\"0 0 " + size + " " + size +
                    "\" role=\"img\" aria-label=\"marks of the things listed beside\">";
  for (const FaceMark& mark : marks) svg += SvgPath(mark.path, mark.fate);
  const auto places = PlaceNumbers(marks, side, [](const std::string& number) {
    return cv::Size2d(kDigit * static_cast<double>(number.size()) + 4, kDigit + 6);
  });
  for (std::size_t i = 0; i < marks.size(); ++i) {
    if (places[i]) svg += SvgNumber(marks[i], *places[i]);
  }
  return svg + "</svg>";
}

std::string LegendMark(Fate fate) {
  std::vector<cv::Point2d> path;
  const FateLook look = LookOf(fate);
  const int corners = look.corners == 0 ? 36 : look.corners;
  const double start = look.corners == 4 ? CV_PI / 4 : -CV_PI / 2;
  for (int i = 0; i < corners; ++i) {
    const double angle = start + 2 * CV_PI * i / corners;
    path.emplace_back(20 + 13 * std::cos(angle), 20 + 13 * std::sin(angle));
  }
  return SvgPath(path, fate);
}

data Flag(bool value) { return value ? data::type::bool_true : data::type::bool_false; }

Result<data> AttemptData(const Compared& compared, std::size_t i) {
  const Attempt& attempt = compared.attempts[i];
  const View view = ViewOf(compared.limits, kSide);
  const auto& to_first = compared.comparison.to_first[i];
  const auto jpeg = EncodeJpeg(PaintFace(attempt, to_first, view), kQuality);
  if (!jpeg.ok()) return jpeg.error();
  data entry;
  entry.set("index", std::to_string(i));
  entry.set("number", std::to_string(i + 1));
  entry.set("first", Flag(i == 0));
  entry.set("last", Flag(i + 1 == compared.attempts.size()));
  entry.set("aligned", Flag(to_first.has_value()));
  entry.set("name", PrintableText(attempt.frame.path.filename().string()));
  entry.set("sha", attempt.frame.sha256.substr(0, kShaDigits));
  entry.set("verdict", VerdictWords(attempt.grade.verdict));
  entry.set("verdict_class", RecordWord(attempt.grade.verdict));
  entry.set("sign", SignOf(attempt.grade.verdict));
  entry.set("marginal", Flag(attempt.grade.marginal));
  entry.set("advice", ActionWords(compared.advice[i].action));
  data reasons{data::type::list};
  for (const Reason& reason : attempt.grade.reasons) {
    data text;
    text.set("text", Typeset(PrintableText(reason.text)));
    reasons.push_back(text);
  }
  entry.set("reasons", reasons);
  entry.set("jpeg", report::Base64(*jpeg));
  entry.set("side", std::to_string(kSide));
  entry.set("svg", SvgMarks(MarksOn(compared, i, view), kSide));
  return entry;
}

// A figure and its unit, a zone and its name, stay on one line of a narrow column.
std::string Bound(std::string text) {
  for (const std::string_view word : {" \u00B5m", " A", " B", " C", " D"}) {
    for (std::size_t at = text.find(word); at != std::string::npos; at = text.find(word, at + 1)) {
      text.replace(at, 1, "\u00A0");
    }
  }
  return text;
}

data Things(const Compared& compared) {
  data things{data::type::list};
  for (const Fate fate : kFates) {
    for (const Track& track : compared.comparison.tracks) {
      if (track.fate != fate) continue;
      data thing;
      thing.set("id", std::to_string(track.id));
      thing.set("what", Bound(Typeset(ThingWords(compared.attempts, compared.limits, track))));
      thing.set("fate", FateWords(fate));
      thing.set("mark", LegendMark(fate));
      thing.set("permanent", Flag(track.likely_permanent));
      thing.set("why", Typeset(PrintableText(WhyWords(track))));
      things.push_back(thing);
    }
  }
  return things;
}

std::string CleaningWords(const Situation& situation) {
  return std::to_string(situation.num_cleanings) +
         (situation.num_cleanings == 1 ? " cleaning" : " cleanings") + " so far, of " +
         std::to_string(situation.max_cleanings) + " that the limits allow.";
}

bool AlignedAll(const Comparison& comparison) {
  return std::all_of(comparison.to_first.begin(), comparison.to_first.end(), [](const auto& each) {
    return each.has_value();
  });
}

}  // namespace

Result<std::string> ComparisonPage(const Compared& compared, const std::string& carried) {
  data page;
  data attempts{data::type::list};
  for (std::size_t i = 0; i < compared.attempts.size(); ++i) {
    auto attempt = AttemptData(compared, i);
    if (!attempt.ok()) return attempt.error();
    attempts.push_back(*attempt);
  }
  page.set("attempts", attempts);
  page.set(
      "title",
      "Before and after: " + std::string(VerdictWords(compared.attempts.back().grade.verdict)));
  page.set("counts", CountWords(compared.comparison));
  page.set("aligned_all", Flag(AlignedAll(compared.comparison)));
  data legend{data::type::list};
  const auto counts = CountFates(compared.comparison);
  for (std::size_t i = 0; i < kFates.size(); ++i) {
    if (counts[i] == 0) continue;
    data entry;
    entry.set("mark", LegendMark(kFates[i]));
    entry.set("words", FateWords(kFates[i]));
    legend.push_back(entry);
  }
  page.set("legend", legend);
  const Advice& advice = compared.advice.back();
  page.set("action", ActionWords(advice.action));
  page.set("say", PrintableText(advice.say));
  page.set("source", PrintableText(advice.source));
  page.set("cleanings", CleaningWords(compared.situations.back()));
  page.set("has_things", Flag(!compared.comparison.tracks.empty()));
  page.set("things", Things(compared));
  const bool doubtful = std::any_of(
      compared.comparison.pairs.begin(), compared.comparison.pairs.end(), [](const auto& pair) {
        return pair.registration.same_face_doubtful;
      });
  page.set("doubtful", Flag(doubtful));
  data pairs{data::type::list};
  for (const PairComparison& pair : compared.comparison.pairs) {
    data entry;
    entry.set("from", std::to_string(pair.before + 1));
    entry.set("to", std::to_string(pair.after + 1));
    entry.set("words", PrintableText(pair.registration.words));
    pairs.push_back(entry);
  }
  page.set("pairs", pairs);
  page.set("limits", PrintableText(compared.limits.title + " (" + compared.limits.id + ")"));
  page.set("program", "endgrade " + Version() + " (" + Build() + ")");
  page.set("safety", PrintableText(advice.safety));
  page.set("carries", Flag(!carried.empty()));
  if (!carried.empty()) page.set("evidence", evidence::HtmlBlock(carried));
  page.set("style", kStyle);
  page.set("script", kScript);
  kainjow::mustache::mustache form(kTemplate);
  std::string html = form.render(page);
  if (!form.is_valid()) {
    return Error{ErrorKind::kInternal, "", 0, "the page's form: " + form.error_message(), ""};
  }
  return carried.empty() ? html : evidence::Seal(std::move(html));
}

}  // namespace endgrade::compare_page
