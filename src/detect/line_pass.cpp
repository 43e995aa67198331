#include "detect/line_pass.h"

#include "core/wide.h"
#include "detect/response.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kFamilyApartUm = 3.5;
// Around the ring: lines that cross its border are followed there, and grain is told from noise.
constexpr double kRoomUm = 10.0;
constexpr int kAlignment = 16;  // cells: the largest block that a response is made of

// The cells of a map of `size` that the field covers.
cv::Rect BoxOf(const LineField& field, cv::Size size) {
  const cv::Matx22d& m = field.um_from_cell;
  const cv::Matx22d spread = (m.t() * m).inv();
  const int half_x = static_cast<int>(std::ceil(field.outer_um * std::sqrt(spread(0, 0))));
  const int half_y = static_cast<int>(std::ceil(field.outer_um * std::sqrt(spread(1, 1))));
  const cv::Rect box(cvRound(field.centre.x) - half_x,
                     cvRound(field.centre.y) - half_y,
                     2 * half_x + 1,
                     2 * half_y + 1);
  return box & cv::Rect(cv::Point(), size);
}

// The part of the map that a ring needs. Blocks of cells lie in it as they do in the whole.
cv::Rect PartFor(const ContrastMap& map, double outer_um) {
  const cv::Rect all(cv::Point(), map.level.size());
  const cv::Rect box = BoxOf({map.centre_cell, map.um_from_cell, 0.0, outer_um}, all.size());
  const int left = box.x - box.x % kAlignment;
  const int top = box.y - box.y % kAlignment;
  const auto aligned = [](int length) {
    return (length + kAlignment - 1) / kAlignment * kAlignment;
  };
  return cv::Rect(left, top, aligned(box.br().x - left), aligned(box.br().y - top)) & all;
}

// The map as if the face had been looked at through a smaller window.
ContrastMap PartOf(const ContrastMap& map, const cv::Rect& part) {
  ContrastMap some = map;
  for (cv::Mat* each : {&some.level, &some.background, &some.residual, &some.radius_um}) {
    *each = (*each)(part);
  }
  if (!some.valid.empty()) some.valid = some.valid(part);
  some.roi_px = {map.roi_px.x + part.x * map.cell_px,
                 map.roi_px.y + part.y * map.cell_px,
                 part.width * map.cell_px,
                 part.height * map.cell_px};
  some.centre_cell -= cv::Point2d(part.tl());
  return some;
}

// Turns a row of the response into its score, and holds that within kMostScore.
ENDGRADE_WIDE void Score(const float* __restrict noise,
                         int count,
                         float* __restrict score,
                         float* __restrict bounded) {
  for (int x = 0; x < count; ++x) {
    score[x] /= noise[x];
    bounded[x] = std::min(std::max(score[x], -kMostScore), kMostScore);
  }
}

LinePass MakeOver(const cv::Rect& part,
                  const ContrastMap& map,
                  const cv::Mat& residual,
                  const LinePlan& plan) {
  const ContrastMap some = PartOf(map, part);
  Response response = RespondAtScale(some, residual(part), plan.sigma_cells);
  LinePass pass;
  pass.plan = plan;
  pass.part = part;
  pass.reduction = response.reduction;
  const double reduction = response.reduction;
  pass.um_per_cell = reduction * map.um_per_cell;
  pass.correlation = std::max(1.0, 2.5 * plan.sigma_cells / reduction);
  pass.field = {
      {(some.centre_cell.x + 0.5) / reduction - 0.5, (some.centre_cell.y + 0.5) / reduction - 0.5},
      map.um_from_cell * reduction,
      plan.from_um,
      plan.to_um};
  // The response itself is not needed any more: its memory holds the score.
  response.smooth.release();
  pass.score = response.band;
  pass.bounded.create(pass.score.size(), CV_32FC1);
  const int columns = pass.score.cols;
  std::vector<float> noise(static_cast<size_t>(columns));
  for (int y = 0; y < pass.score.rows; ++y) {
    const auto* radius = response.radius_um.ptr<float>(y);
    response.noise.AtEach(radius, columns, noise.data());
    Score(noise.data(), columns, pass.score.ptr<float>(y), pass.bounded.ptr<float>(y));
  }
  pass.box = BoxOf(pass.field, pass.score.size());
  const cv::Mat radius_um = response.radius_um(pass.box);
  const cv::Mat inside = (radius_um >= plan.from_um) & (radius_um < plan.to_um);
  pass.bounded(pass.box).copyTo(pass.summed, inside);
  return pass;
}

}  // namespace

bool LinePass::MayGoOn(const std::vector<cv::Point2d>& spine, const ContrastMap& map) const {
  if (part.size() == map.level.size() || spine.size() < 2) return false;
  // The next block would leave the pass, but not the map.
  const auto leaves = [&](cv::Point2d before, cv::Point2d last) {
    const cv::Point2d next = last + 1.1 * (last - before);
    const cv::Rect2d reached(1, 1, score.cols - 3, score.rows - 3);
    const cv::Point2d there = MapCell(next);
    const cv::Rect2d all(0, 0, map.level.cols - 1, map.level.rows - 1);
    return !reached.contains(next) && all.contains(there);
  };
  return leaves(spine[1], spine[0]) || leaves(spine[spine.size() - 2], spine.back());
}

LinePass MakeLinePass(const ContrastMap& map, const cv::Mat& residual, const LinePlan& plan) {
  return MakeOver(PartFor(map, plan.to_um + kRoomUm), map, residual, plan);
}

LinePass Widened(const LinePass& pass,
                 const ContrastMap& map,
                 const cv::Mat& residual,
                 cv::Point2f* shift) {
  LinePass whole = MakeOver({cv::Point(), map.level.size()}, map, residual, pass.plan);
  const cv::Point from = pass.part.tl() / pass.reduction;
  const cv::Rect known(from, pass.score.size());
  pass.score.copyTo(whole.score(known));
  pass.bounded.copyTo(whole.bounded(known));
  *shift = cv::Point2f(from);
  return whole;
}

std::vector<LineCandidate> CandidatesOf(const LinePass& pass) {
  std::vector<LineCandidate> candidates;
  const cv::Rect& box = pass.box;
  if (box.width < 16 || box.height < 16) return candidates;
  LineSumOptions sums;
  sums.threshold = static_cast<float>(pass.plan.threshold);
  sums.most_spread = pass.plan.most_spread;
  sums.apart_cells = static_cast<float>(kFamilyApartUm / pass.um_per_cell);
  LineField field = pass.field;
  field.centre -= cv::Point2d(box.tl());
  candidates = SumLines(pass.summed, field, sums);
  const cv::Point2f shift(static_cast<float>(box.x), static_cast<float>(box.y));
  for (LineCandidate& line : candidates) {
    line.from += shift;
    line.to += shift;
  }
  return candidates;
}

}  // namespace endgrade
