#include "detect/response.h"
#include "endgrade/explain.h"
#include "explain/panels.h"
#include "present/feature_marks.h"
#include "present/strip_words.h"
#include "present/words.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

using namespace explain;

constexpr double kEm = 27;       // of the words, sheet pixels: readable at arm's length
constexpr double kSmallEm = 22;  // of captions and axes
constexpr double kPad = 36;
constexpr double kGap = 24;
constexpr double kLeading = 1.36;
constexpr std::size_t kLongestLead = 24;  // letters before a paragraph's first colon
constexpr double kLeastCropUm = 12;       // side of a feature's views
constexpr int kTallest = 4000;            // sheet pixels, cut to what is used
const Colour kInk{26, 26, 26};

class Sheet {
 public:
  Sheet() : picture_(kTallest, kSheetWidth, CV_8UC3, cv::Scalar::all(255)) {}

  cv::Mat& picture() { return picture_; }
  TextPainter& text() { return text_; }

  // Draws wrapped paragraphs from `top` down; returns the row below them.
  double Words(const std::string& paragraphs, double left, double top, double width, double em) {
    std::size_t from = 0;
    while (from < paragraphs.size()) {
      const std::size_t end = std::min(paragraphs.find('\n', from), paragraphs.size());
      const std::string paragraph = Typeset(paragraphs.substr(from, end - from));
      from = end + 1;
      const TextStyle style{em, false, kInk};
      const TextStyle bold{em, true, kInk};
      // What a paragraph is about stands in bold before its colon.
      const std::size_t colon = paragraph.find(": ");
      const std::size_t lead = colon <= kLongestLead ? colon + 1 : 0;
      double indent = 0;
      for (const std::string& line : text_.Wrap(paragraph, style, width - kEm)) {
        std::size_t from_letter = 0;
        if (indent == 0 && lead > 0 && lead <= line.size()) {
          text_.Draw(picture_, {left, top + em}, line.substr(0, lead), bold);
          indent = text_.Width(line.substr(0, lead), bold);
          from_letter = lead;
        }
        const double start = from_letter > 0 ? left + indent : left;
        text_.Draw(picture_, {start, top + em}, line.substr(from_letter), style);
        indent = std::max(indent, 1e-9);
        top += kLeading * em;
      }
      top += 0.4 * em;
    }
    return top;
  }

  void Title(const std::string& words, const std::string& beside, double* top) {
    const TextStyle big{1.5 * kEm, true, kInk};
    text_.Draw(picture_, {kPad, *top + 1.5 * kEm}, text_.Elided(words, big, 1850), big);
    *top += 1.5 * kEm * kLeading;
    const TextStyle small{kSmallEm, false, kGrey};
    text_.Draw(picture_, {kPad, *top + kSmallEm}, text_.Elided(beside, small, 1850), small);
    *top += 1.7 * kSmallEm;
  }

  void Badge(const std::string& words, const Colour& ground, const Colour& ink) {
    const TextStyle style{1.2 * kEm, true, ink};
    const double width = text_.Width(words, style) + 1.4 * kEm;
    const cv::Rect2d box(kSheetWidth - kPad - width, 0.9 * kPad, width, 1.9 * kEm);
    FillRounded(picture_, box, 0.3 * kEm, ground);
    text_.Draw(picture_,
               {box.x + 0.7 * kEm, box.y + (box.height + text_.CapHeight(style)) / 2},
               words,
               style);
  }

  void Panel(const cv::Mat& panel, const std::string& caption, double left, double top) {
    text_.Draw(picture_, {left, top + kSmallEm}, caption, {kSmallEm, true, kInk});
    const cv::Rect place(cvRound(left), cvRound(top + 1.5 * kSmallEm), panel.cols, panel.rows);
    panel.copyTo(picture_(place));
  }

  cv::Mat Finish(const GradedPicture& picture, double top) {
    const TextStyle style{0.8 * kSmallEm, false, kGrey};
    text_.Draw(picture_,
               {kPad, top + kSmallEm},
               text_.Elided(ProvenanceLine(picture.frame, picture.limits), style, 1850),
               style);
    const int rows = std::min(picture_.rows, cvRound(top + 2.2 * kSmallEm));
    return picture_.rowRange(0, rows).clone();
  }

 private:
  cv::Mat picture_;
  TextPainter text_;
};

// Where a panel's value bar stands.
cv::Rect2d BarBox(double left, double top, int side) {
  return {left, top + 1.5 * kSmallEm + side + 0.5 * kSmallEm, static_cast<double>(side), 16};
}
constexpr double kBelowPanel = 4.4 * kSmallEm;  // caption and bar, beside the panel's own side

// What a map of cells holds at a place of the picture.
double CellValue(const ContrastMap& map, const cv::Mat& cells, cv::Point2d p_px) {
  const cv::Point2d cell = map.CellFromPx(p_px);
  const int x = cvRound(cell.x);
  const int y = cvRound(cell.y);
  if (x < 0 || y < 0 || x >= cells.cols || y >= cells.rows) return kNoValue;
  if (static_cast<double>(map.radius_um.at<float>(y, x)) > map.outer_um) return kNoValue;
  if (!map.valid.empty() && map.valid.at<std::uint8_t>(y, x) == 0) return kNoValue;  // not seen
  return static_cast<double>(cells.at<float>(y, x));
}

// A square around all of `points_px`, with room about them.
cv::Rect CropAround(const std::vector<cv::Point2d>& points_px, double least_px, double room) {
  cv::Point2d low = points_px.front();
  cv::Point2d high = low;
  for (const cv::Point2d& p : points_px) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  }
  const double side = std::max(least_px, room * std::max(high.x - low.x, high.y - low.y));
  const cv::Point2d middle = 0.5 * (low + high);
  const int whole = std::max(8, cvRound(side));
  return {cvRound(middle.x - 0.5 * whole), cvRound(middle.y - 0.5 * whole), whole, whole};
}

std::string Rounded(double value) {
  const double size = std::abs(value);
  return FixedWords(value, size >= 20 ? 0 : size >= 2 ? 1 : 2);
}

void DrawBar(Sheet& sheet, const cv::Rect2d& box, const ValueScale& scale, double mark) {
  std::vector<std::pair<double, std::string>> marks = {{scale.low, Rounded(scale.low)},
                                                       {scale.high, Rounded(scale.high)}};
  if (scale.low < 0) marks.emplace_back(0.0, "0");
  if (mark > 0 && mark < 0.9 * scale.high) {
    marks.emplace_back(mark, "");
    marks.emplace_back(-mark, "");
  }
  DrawValueBar(sheet.picture(), box, scale, marks, 0.85 * kSmallEm, sheet.text());
}

// Value over noise at one scale.
struct Snr {
  Response response;
  std::vector<double> ring_noise;
  [[nodiscard]] double NoiseAt(const ContrastMap& map, cv::Point2d p_px) const {
    const cv::Mat& radius = map.radius_um;
    const double r = CellValue(map, radius, p_px);
    return r >= kNoValue ? kNoValue : ring_noise[map.RingOf(static_cast<float>(r))];
  }
  [[nodiscard]] double At(const ContrastMap& map, cv::Point2d p_px) const {
    const double noise = NoiseAt(map, p_px);
    if (noise >= kNoValue) return kNoValue;
    const cv::Point2d cell = map.CellFromPx(p_px);
    const int x = cvFloor((cell.x + 0.5) / response.reduction);
    const int y = cvFloor((cell.y + 0.5) / response.reduction);
    if (x < 0 || y < 0 || x >= response.band.cols || y >= response.band.rows) return kNoValue;
    return static_cast<double>(response.band.at<float>(y, x)) / std::max(1e-9, noise);
  }
};

Snr SnrAt(const GradedPicture& picture, std::size_t scale) {
  const ScaleNoise& noise = picture.workings.detection.scales[scale];
  const ContrastMap& map = picture.workings.contrast;
  return {RespondAtScale(map, map.residual, noise.sigma_cells), noise.ring_noise};
}

std::size_t ScaleOf(const GradedPicture& picture, const Evidence& evidence) {
  const auto& scales = picture.workings.detection.scales;
  const double um = picture.workings.contrast.um_per_cell;
  std::size_t best = 0;
  for (std::size_t i = 1; i < scales.size(); ++i) {
    if (std::abs(scales[i].sigma_cells * um - evidence.filter_um) <
        std::abs(scales[best].sigma_cells * um - evidence.filter_um)) {
      best = i;
    }
  }
  return best;
}

const Colour& OutlineColour(const Feature& feature) {
  static const Colour broken = BrokenColour();
  static const Colour allowed = AllowedColour();
  return feature.breaks.empty() ? allowed : broken;
}

std::string NameOfGrade(const GradedPicture& picture) {
  return PictureName(picture.frame) + "  \u00b7  " + Typeset(picture.limits.title);
}

// Largest of |values| within the view, for a scale that shows them all.
double LargestIn(const View& view, const std::function<double(cv::Point2d)>& value_at) {
  double most = 0;
  for (int y = 0; y < view.side; y += 3) {
    for (int x = 0; x < view.side; x += 3) {
      const double value = value_at(view.FromPanel(cv::Point2d(x, y)));
      if (value < kNoValue) most = std::max(most, std::abs(value));
    }
  }
  return most;
}

// The way that the profile is read on, left out where the feature is.
void MarkWay(cv::Mat& panel, const View& view, const ProfileAcross& profile) {
  if (profile.offset_um.size() < 2 || profile.border_um.size() < 2) return;
  const double first = profile.offset_um.front();
  const double span = profile.offset_um.back() - first;
  const auto at = [&](double offset_um) {
    const double share = std::clamp((offset_um - first) / span, 0.0, 1.0);
    return view.ToPanel(profile.from_px + share * (profile.to_px - profile.from_px));
  };
  // Long enough to be seen, also where the way is short beside the feature.
  constexpr double kGapPx = 8;
  constexpr double kLeastPx = 30;
  const cv::Point2d whole = at(first + span) - at(first);
  const cv::Point2d unit = whole * (1.0 / std::max(1e-9, std::hypot(whole.x, whole.y)));
  for (const bool start : {true, false}) {
    const cv::Point2d out = start ? -unit : unit;
    const cv::Point2d near = at(start ? profile.border_um[0] : profile.border_um[1]) + out * kGapPx;
    const cv::Point2d end = at(start ? first : first + span);
    const double length = std::max(kLeastPx, (end - near).dot(out));
    DrawSegment(panel, near, near + out * length, 5, kBlack);
    DrawSegment(panel, near, near + out * length, 3, kOrange);
  }
}

// Numbers of the features beside them, as in the overlay and the record.
void NumberFeatures(Sheet& sheet, cv::Mat& panel, const View& view, const FibreGrade& fibre) {
  constexpr std::size_t kMost = 40;  // more would hide the picture
  for (std::size_t i = 0; i < std::min(kMost, fibre.features.size()); ++i) {
    const Feature& feature = fibre.features[i];
    cv::Point2d corner = feature.centre_px;
    for (const cv::Point2d& p : feature.outline_px) {
      if (p.x - p.y > corner.x - corner.y) corner = p;
    }
    const TextStyle style{kSmallEm, true, OutlineColour(feature)};
    sheet.text().DrawCased(
        panel, view.ToPanel(corner) + cv::Point2d(6, -2), std::to_string(feature.id), style, 2);
  }
}

}  // namespace

cv::Mat DrawFeatureSheet(const GradedPicture& picture, const Evidence& evidence) {
  const FibreGrade& fibre = picture.grade.fibres.front();
  const Feature& feature = fibre.features[evidence.feature];
  const ContrastMap& map = picture.workings.contrast;
  Sheet sheet;
  double top = 0.6 * kPad;
  sheet.Title(
      "Feature " + std::to_string(feature.id) + ": " + FeatureWords(feature, picture.limits),
      NameOfGrade(picture),
      &top);
  const bool breaks = !feature.breaks.empty();
  sheet.Badge(breaks ? "\u2718 BREAKS A RULE" : "\u2714 ALLOWED",
              breaks ? kVermillion : kBluishGreen,
              kWhite);

  std::vector<cv::Point2d> points = feature.outline_px;
  if (points.empty()) points = {feature.centre_px};
  const View view{CropAround(points, kLeastCropUm / fibre.scale.um_per_px, 2.2), 444};
  const double step = view.side + kGap;
  top += 0.4 * kEm;
  cv::Mat photograph = PaintPhotographView(picture.frame, view);
  DrawZones(photograph, view, picture.limits, fibre.scale, kSmallEm, sheet.text());
  DrawClosed(photograph, view, feature.outline_px, OutlineColour(feature), breaks ? 4 : 2.5);
  DrawScaleBar(photograph, view, fibre.scale, kSmallEm, sheet.text());
  sheet.Panel(photograph, "1  Photograph", kPad, top);

  const auto residual = [&](cv::Point2d p) { return CellValue(map, map.residual, p); };
  const double most = std::max(1.0, LargestIn(view, residual));
  const ValueScale levels{-most, most, false};
  cv::Mat flat = PaintValues(view, levels, residual);
  MarkWay(flat, view, evidence.profile);
  sheet.Panel(flat, "2  Flattened, grey levels", kPad + step, top);
  DrawBar(sheet, BarBox(kPad + step, top, view.side), levels, 0);

  const Snr snr = SnrAt(picture, ScaleOf(picture, evidence));
  const auto noise_at = [&](cv::Point2d p) { return snr.NoiseAt(map, p); };
  const ValueScale noise{0, std::max(0.1, 1.1 * LargestIn(view, noise_at)), false};
  sheet.Panel(
      PaintValues(view, noise, noise_at), "3  Noise there, grey levels", kPad + 2 * step, top);
  DrawBar(sheet, BarBox(kPad + 2 * step, top, view.side), noise, 0);

  const auto ratio_at = [&](cv::Point2d p) { return snr.At(map, p); };
  const double threshold = picture.options.detect.threshold_sigma;
  const double reach = std::max(1.6 * threshold, LargestIn(view, ratio_at));
  const ValueScale ratios{-reach, reach, true};
  sheet.Panel(PaintValues(view, ratios, ratio_at),
              "4  Response / noise, threshold " + FixedWords(threshold, 1),
              kPad + 3 * step,
              top);
  DrawBar(sheet, BarBox(kPad + 3 * step, top, view.side), ratios, threshold);

  top += view.side + kBelowPanel + 0.6 * kEm;
  const cv::Rect2d graph(kPad, top, 2 * view.side + kGap, 620);
  sheet.text().Draw(sheet.picture(),
                    {kPad, top + kSmallEm},
                    "5  Across it, between the orange marks of 2",
                    {kSmallEm, true, kInk});
  DrawProfile(sheet.picture(),
              {graph.x, graph.y + 1.8 * kSmallEm, graph.width, graph.height - 1.8 * kSmallEm},
              evidence.profile,
              evidence.noise,
              kSmallEm,
              sheet.text());
  const double below = sheet.Words(
      ExplainFeature(picture, evidence), kPad + 2 * step, top, 2.0 * view.side + kGap, kEm);
  return sheet.Finish(picture, std::max(below, graph.br().y) + 0.3 * kEm);
}

cv::Mat DrawFaceSheet(const GradedPicture& picture) {
  Sheet sheet;
  double top = 0.6 * kPad;
  sheet.Title("How this face was graded", NameOfGrade(picture), &top);
  const Verdict verdict = picture.grade.verdict;
  const bool pass = verdict == Verdict::kPass;
  const bool fail = verdict == Verdict::kFail;
  sheet.Badge(std::string(pass   ? "\u2714 "
                          : fail ? "\u2718 "
                                 : "? ") +
                  VerdictWords(verdict),
              pass   ? kBluishGreen
              : fail ? kVermillion
                     : kYellow,
              pass || fail ? kWhite : kBlack);
  const ContrastMap& map = picture.workings.contrast;
  if (picture.grade.fibres.empty() || map.level.empty()) {
    return sheet.Finish(
        picture, sheet.Words(ExplainFace(picture), kPad, top + kEm, kSheetWidth - 2 * kPad, kEm));
  }
  const FibreGrade& fibre = picture.grade.fibres.front();
  const cv::Point2d reach(map.outer_um, map.outer_um);
  const cv::Rect crop = CropAround({fibre.scale.ToPx(reach), fibre.scale.ToPx(-reach)}, 8, 1.02);
  const View view{crop, cvRound((kSheetWidth - 2 * kPad - kGap) / 2)};
  const double step = view.side + kGap;
  top += 0.4 * kEm;

  cv::Mat photograph = PaintPhotographView(picture.frame, view);
  DrawZones(photograph, view, picture.limits, fibre.scale, kSmallEm, sheet.text());
  for (const Feature& feature : fibre.features) {
    const bool breaks = !feature.breaks.empty();
    DrawClosed(photograph, view, feature.outline_px, OutlineColour(feature), breaks ? 4 : 2);
  }
  NumberFeatures(sheet, photograph, view, fibre);
  DrawScaleBar(photograph, view, fibre.scale, kSmallEm, sheet.text());
  sheet.Panel(photograph, "1  Photograph, zones, what was found", kPad, top);

  const auto residual = [&](cv::Point2d p) { return CellValue(map, map.residual, p); };
  const double shown = std::max(2.0, 8.0 * map.glass_noise);
  const ValueScale levels{-shown, shown, false};
  sheet.Panel(PaintValues(view, levels, residual),
              "2  Flattened: light and rings of the face removed, grey levels",
              kPad + step,
              top);
  DrawBar(sheet, BarBox(kPad + step, top, view.side), levels, 0);
  top += view.side + kBelowPanel + 0.4 * kEm;

  const auto noise_at = [&](cv::Point2d p) {
    const double r = CellValue(map, map.radius_um, p);
    return r >= kNoValue ? kNoValue : map.ring_noise[map.RingOf(static_cast<float>(r))];
  };
  const ValueScale noise{0, std::max(0.5, 1.1 * LargestIn(view, noise_at)), false};
  sheet.Panel(PaintValues(view, noise, noise_at), "3  Noise, ring by ring, grey levels", kPad, top);
  DrawBar(sheet, BarBox(kPad, top, view.side), noise, 0);

  std::vector<Snr> scales;
  for (std::size_t i = 0; i < picture.workings.detection.scales.size(); ++i) {
    scales.push_back(SnrAt(picture, i));
  }
  const auto best_at = [&](cv::Point2d p) {
    double best = scales.empty() ? kNoValue : 0.0;
    for (const Snr& scale : scales) {
      const double value = scale.At(map, p);
      if (value >= kNoValue) return kNoValue;
      if (std::abs(value) > std::abs(best)) best = value;
    }
    return best;
  };
  const double threshold = picture.options.detect.threshold_sigma;
  const ValueScale ratios{-2.5 * threshold, 2.5 * threshold, true};
  sheet.Panel(
      PaintValues(view, ratios, best_at),
      "4  Strongest response / noise, any size of patch; threshold " + FixedWords(threshold, 1),
      kPad + step,
      top);
  DrawBar(sheet, BarBox(kPad + step, top, view.side), ratios, threshold);
  top += view.side + kBelowPanel + 0.4 * kEm;
  return sheet.Finish(picture,
                      sheet.Words(ExplainFace(picture), kPad, top, kSheetWidth - 2 * kPad, kEm));
}

}  // namespace endgrade
