#include "compare_page/pictures.h"

#include "compare/forced_look.h"
#include "compare_page/comparison_words.h"
#include "compare_page/face_view.h"
#include "present/escape.h"
#include "present/words.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade::compare_page {
namespace {

constexpr int kSheetSide = 900;
constexpr int kMostAcross = 3;
constexpr int kPad = 24;
constexpr int kTallest = 8000;  // cut to what is used
constexpr double kSheetEm = 24;
constexpr double kSmall = 20;
constexpr double kLeading = 1.4;
const Colour kInk{26, 26, 26};
const Colour kBlue{178, 114, 0};  // of Okabe and Ito's eight

double Words(cv::Mat& sheet,
             TextPainter& text,
             const std::string& words,
             double top,
             const TextStyle& style,
             double left = kPad) {
  for (const std::string& line : text.Wrap(PrintableText(words), style, sheet.cols - left - kPad)) {
    text.Draw(sheet, {left, top + style.size_px}, line, style);
    top += kLeading * style.size_px;
  }
  return top;
}

double Legend(cv::Mat& sheet, TextPainter& text, double top) {
  const TextStyle style{kSmall, false, kInk};
  double left = kPad;
  for (const Fate fate : kFates) {
    const std::string words = FateWords(fate);
    const double width = text.Width(words, style) + 3.2 * kSmall;
    if (left + width > sheet.cols - kPad) {
      left = kPad;
      top += 1.8 * kSmall;
    }
    // Light marks show on the dark of a photograph, not on paper.
    FillRounded(sheet, {left, top, 1.7 * kSmall, 1.7 * kSmall}, 4, kGrey);
    DrawLegendMark(sheet, {left + 0.85 * kSmall, top + 0.85 * kSmall}, 0.55 * kSmall, fate);
    text.Draw(sheet, {left + 2.1 * kSmall, top + 1.2 * kSmall}, words, style);
    left += width + kSmall;
  }
  return top + 2.3 * kSmall;
}

void ScaleBar(cv::Mat& panel, const View& view, TextPainter& text) {
  const double length_um = 50;
  const double y = panel.rows - 22.0;
  const cv::Point2d from(20, y);
  const cv::Point2d to(20 + length_um * view.PxPerUm(), y);
  DrawSegment(panel, from, to, 7, kBlack);
  DrawSegment(panel, from, to, 4, kWhite);
  text.DrawCased(panel, {20, y - 9}, "50 \u00b5m", {kSmall, true, kWhite}, 2);
}

cv::Mat Panel(const Compared& compared, std::size_t i, const View& view, TextPainter& text) {
  cv::Mat panel = PaintFace(compared.attempts[i], compared.comparison.to_first[i], view);
  DrawMarks(panel, MarksOn(compared, i, view), kSmall, text);
  if (!compared.attempts[i].grade.fibres.empty()) ScaleBar(panel, view, text);
  return panel;
}

std::string HeadOf(const Compared& compared, std::size_t i) {
  const Attempt& attempt = compared.attempts[i];
  return std::to_string(i + 1) + "  " + VerdictWords(attempt.grade.verdict);
}

// From first to last; nothing where either has no fibre or a rotation is not known.
std::optional<cv::Matx23d> LastToFirst(const Compared& compared) {
  if (compared.attempts.front().grade.fibres.empty()) return std::nullopt;
  return compared.comparison.to_first.back();
}

cv::Mat WarpedContrast(const compare::SoftPicture& soft,
                       const cv::Matx23d& to_first,
                       const View& view) {
  const ContrastMap& map = soft.attempt->workings.contrast;
  const auto to_view = [&](cv::Point2d cell) {
    const cv::Vec2d um =
        map.um_from_cell * cv::Vec2d(cell.x - map.centre_cell.x, cell.y - map.centre_cell.y);
    return view.ToView({to_first(0, 0) * um[0] + to_first(0, 1) * um[1] + to_first(0, 2),
                        to_first(1, 0) * um[0] + to_first(1, 1) * um[1] + to_first(1, 2)});
  };
  const cv::Point2d zero = to_view({0, 0});
  const cv::Point2d x = to_view({1, 0}) - zero;
  const cv::Point2d y = to_view({0, 1}) - zero;
  cv::Mat warped;
  cv::warpAffine(soft.contrast,
                 warped,
                 cv::Matx23d(x.x, y.x, zero.x, x.y, y.y, zero.y),
                 {view.side, view.side},
                 cv::INTER_LINEAR,
                 cv::BORDER_CONSTANT,
                 cv::Scalar(std::nanf("")));
  return warped;
}

Colour Mixed(const Colour& to, double share) {
  Colour mixed;
  for (int i = 0; i < 3; ++i) {
    mixed[i] = cv::saturate_cast<std::uint8_t>(255 + share * (to[i] - 255.0));
  }
  return mixed;
}

void Ring(cv::Mat& picture, const View& view, double radius_um) {
  const cv::Point2d centre = view.ToView({0, 0});
  const double radius = radius_um * view.PxPerUm();
  constexpr int kPieces = 360;
  for (int i = 0; i < kPieces; ++i) {
    const double a = 2 * CV_PI * i / kPieces;
    const double b = 2 * CV_PI * (i + 1) / kPieces;
    DrawSegment(picture,
                centre + radius * cv::Point2d(std::cos(a), std::sin(a)),
                centre + radius * cv::Point2d(std::cos(b), std::sin(b)),
                1.2,
                kGrey);
  }
}

// Largest change that has a colour of its own.
constexpr double kMostChange = 0.4;

cv::Mat ChangeInColours(const cv::Mat& first, const cv::Mat& last) {
  cv::Mat shown(first.size(), CV_8UC3, cv::Scalar(kPaleGrey));
  for (int y = 0; y < shown.rows; ++y) {
    for (int x = 0; x < shown.cols; ++x) {
      const float change = last.at<float>(y, x) - first.at<float>(y, x);
      if (!std::isfinite(change)) continue;
      const double share = std::min(1.0, std::abs(change) / kMostChange);
      shown.at<cv::Vec3b>(y, x) = Mixed(change < 0 ? kBlue : kVermillion, share);
    }
  }
  return shown;
}

}  // namespace

cv::Mat DrawSideBySide(const Compared& compared) {
  TextPainter text;
  const View view = ViewOf(compared.limits, kSheetSide);
  const int count = static_cast<int>(compared.attempts.size());
  const int across = std::min(count, kMostAcross);
  const int width = across * kSheetSide + (across + 1) * kPad;
  cv::Mat sheet(kTallest, width, CV_8UC3, cv::Scalar::all(255));
  const TextStyle bold{1.3 * kSheetEm, true, kInk};
  const TextStyle small{kSmall, false, kGrey};
  double top = kPad;
  for (int i = 0; i < count; ++i) {
    const int left = kPad + (i % across) * (kSheetSide + kPad);
    const std::string head = HeadOf(compared, static_cast<std::size_t>(i));
    text.Draw(sheet, {left + 0.0, top + bold.size_px}, head, bold);
    const double used = text.Width(head, bold) + kSheetEm;
    const std::string name = PrintableText(
        compared.attempts[static_cast<std::size_t>(i)].frame.path.filename().string());
    text.Draw(sheet,
              {left + used, top + bold.size_px},
              text.Elided(name, small, kSheetSide - used),
              small);
    cv::Mat place =
        sheet({left, static_cast<int>(top + 1.6 * bold.size_px), kSheetSide, kSheetSide});
    Panel(compared, static_cast<std::size_t>(i), view, text).copyTo(place);
    if (i % across == across - 1 || i == count - 1) top += 1.6 * bold.size_px + kSheetSide + kPad;
  }
  top = Words(sheet, text, CountWords(compared.comparison), top, {1.2 * kSheetEm, true, kInk});
  top = Legend(sheet, text, top + 6);
  for (const PairComparison& pair : compared.comparison.pairs) {
    top = Words(sheet, text, pair.registration.words, top, {kSmall, false, kInk});
  }
  top = Words(sheet, text, "Next: " + compared.advice.back().say, top + 8, {kSheetEm, true, kInk});
  top = Words(sheet, text, compared.advice.back().safety, top + 8, small);
  return sheet.rowRange(0, std::min(kTallest, static_cast<int>(top) + kPad)).clone();
}

std::optional<cv::Mat> DrawDifference(const Compared& compared) {
  const auto to_first = LastToFirst(compared);
  if (!to_first) return std::nullopt;
  TextPainter text;
  const View view = ViewOf(compared.limits, kSheetSide);
  const auto soft = compare::SoftenBoth(compared.attempts.front(), compared.attempts.back());
  const cv::Matx23d own(1, 0, 0, 0, 1, 0);
  cv::Mat panel = ChangeInColours(WarpedContrast(soft.before, own, view),
                                  WarpedContrast(soft.after, *to_first, view));
  for (const Zone& zone : compared.limits.zones) Ring(panel, view, 0.5 * zone.outer_diameter_um);
  std::vector<FaceMark> changed;
  for (FaceMark& mark : MarksOn(compared, compared.attempts.size() - 1, view)) {
    if (mark.fate != Fate::kStillThere) changed.push_back(std::move(mark));
  }
  DrawMarks(panel, changed, kSmall, text);
  cv::Mat sheet(kSheetSide + 400, kSheetSide + 2 * kPad, CV_8UC3, cv::Scalar::all(255));
  const std::string ends = std::to_string(compared.attempts.size());
  double top = Words(sheet,
                     text,
                     "What changed from photograph 1 to " + ends,
                     kPad / 2.0,
                     {1.3 * kSheetEm, true, kInk});
  panel.copyTo(sheet({kPad, static_cast<int>(top), kSheetSide, kSheetSide}));
  top += kSheetSide + 12;
  top =
      Words(sheet,
            text,
            "Blue: darker now. Orange-red: brighter now (full colour: a change of " +
                FixedWords(100 * kMostChange, 0) +
                " % or more of the ground). Light, focus and grey scale of the two are evened out "
                "as far as they go; rings are the zones' borders.",
            top,
            {kSmall, false, kInk});
  top = Legend(sheet, text, top + 4);
  return sheet.rowRange(0, std::min(sheet.rows, static_cast<int>(top) + kPad)).clone();
}

}  // namespace endgrade::compare_page
