#include "core_under_scratches.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kAcrossCoreUm = 9.0;  // how near the centre a scratch may hide a core's edge
constexpr double kReachUm = 14.0;      // around the centre: where a core is looked for
constexpr double kReadUm = 60.0;       // and more than its search, of wide ones too, ever reads
constexpr double kBesideCells = 1.0;   // beyond the blur: what a scratch still darkens

// Of a core that was found: by more than this it was not what is there.
constexpr double kOffUm = 0.5;
constexpr double kOtherRadius = 0.15;  // share

bool RunsAcrossCore(const ContrastMap& contrast, const Region& line) {
  for (size_t i = 1; i < line.spine.size(); ++i) {
    const cv::Point2d from = line.spine[i - 1] - contrast.centre_cell;
    const cv::Point2d run = line.spine[i] - line.spine[i - 1];
    const double square = run.dot(run);
    const double along = square > 0 ? std::clamp(-from.dot(run) / square, 0.0, 1.0) : 0.0;
    const cv::Point2d foot = from + run * along;
    if (std::hypot(foot.x, foot.y) * contrast.um_per_cell < kAcrossCoreUm) return true;
  }
  return false;
}

// Where a core is looked for about `middle`: all that is near enough in any direction.
cv::Rect AroundCore(const ContrastMap& contrast, cv::Point2d middle, double reach_um) {
  const double reach = reach_um / contrast.um_per_cell;
  return cv::Rect(cvFloor(middle.x - reach),
                  cvFloor(middle.y - reach),
                  2 * cvCeil(reach) + 1,
                  2 * cvCeil(reach) + 1) &
         cv::Rect({0, 0}, contrast.level.size());
}

// Cells that scratches hide, as far as they are asked for.
cv::Mat UnderScratches(const ContrastMap& contrast, const std::vector<Region>& regions) {
  // The corners of what is looked at, turned, about a core that is off the cladding's middle.
  constexpr double kAskedUm = 1.5 * kReachUm + 4.0;
  cv::Mat under = cv::Mat::zeros(contrast.level.size(), CV_8UC1);
  for (const Region& region : regions) {
    if (!region.is_line) continue;
    for (const cv::Point& cell : region.cells) under.at<uchar>(cell) = 255;
  }
  const int reach = cvCeil(kBesideCells + 1.5 * contrast.blur_sigma_cells);
  const cv::Size size(2 * reach + 1, 2 * reach + 1);
  cv::Mat asked = under(AroundCore(contrast, contrast.centre_cell, kAskedUm));
  cv::dilate(asked, asked, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
  return under;
}

// Turns by growing angles, to one side and the other in turn: cosine and sine.
std::vector<cv::Point2d> TurnsFromNear() {
  constexpr int kDirections = 36;
  std::vector<cv::Point2d> turns;
  for (int step = 1; step <= kDirections / 2; ++step) {
    const double turn = step * 2.0 * CV_PI / kDirections;
    turns.emplace_back(std::cos(turn), std::sin(turn));
    turns.emplace_back(std::cos(-turn), std::sin(-turn));
  }
  return turns;
}

// The level in `box` with what is under scratches taken from as far from `middle` in another
// direction, the nearest that is free.
cv::Mat WithoutScratches(const ContrastMap& contrast,
                         const cv::Mat& under,
                         const cv::Rect& box,
                         cv::Point2d middle) {
  const std::vector<cv::Point2d> turns = TurnsFromNear();
  cv::Mat level = contrast.level(box).clone();
  const cv::Rect whole({0, 0}, contrast.level.size());
  const cv::Rect seen = AroundCore(contrast, middle, kReachUm) & box;
  for (int y = seen.y; y < seen.br().y; ++y) {
    for (int x = seen.x; x < seen.br().x; ++x) {
      if (!under.at<uchar>(y, x)) continue;
      const cv::Point2d off = cv::Point2d(x, y) - middle;
      double sum = 0;
      int count = 0;
      // The same to both sides, so that light from one side weighs nothing.
      for (size_t i = 0; i < turns.size() && (i % 2 == 1 || count == 0); ++i) {
        const cv::Point2d turn = turns[i];
        const cv::Point2d there =
            middle + cv::Point2d(off.x * turn.x - off.y * turn.y, off.x * turn.y + off.y * turn.x);
        const cv::Point cell(cvRound(there.x), cvRound(there.y));
        if (!whole.contains(cell) || under.at<uchar>(cell)) continue;
        sum += static_cast<double>(contrast.level.at<float>(cell));
        ++count;
      }
      if (count > 0) level.at<float>(y - box.y, x - box.x) = static_cast<float>(sum / count);
    }
  }
  return level;
}

// The core in cells, about `middle` without what scratches hide.
std::optional<Ellipse> LocateIn(const ContrastMap& contrast,
                                const cv::Mat& under,
                                cv::Point2d middle,
                                const FibreGeometry& fibre) {
  // As a picture of cells, in steps fine enough for a core's fraction of a grey level.
  constexpr double kStepsPerLevel = 64.0;
  Frame cells;
  const double steps = std::min(kStepsPerLevel, 65535.0 / contrast.white_level);
  const cv::Rect box = AroundCore(contrast, contrast.centre_cell, kReadUm);
  cells.luma = cv::Mat::zeros(contrast.level.size(), CV_16UC1);
  cv::Mat part = cells.luma(box);
  WithoutScratches(contrast, under, box, middle).convertTo(part, CV_16U, steps);
  cells.white_level = steps * contrast.white_level;
  Ellipse cladding = fibre.cladding;
  cladding.centre_px = contrast.CellFromPx(fibre.cladding.centre_px);
  cladding.semi_major_px /= contrast.cell_px;
  cladding.semi_minor_px /= contrast.cell_px;
  return LocateCore(cells, cladding, fibre.centre_uncertainty_px / contrast.cell_px);
}

bool IsThatCore(const Ellipse& found, const Ellipse& before, double um_per_px) {
  const cv::Point2d off = found.centre_px - before.centre_px;
  const double ratio = found.MeanRadius() / before.MeanRadius();
  return std::hypot(off.x, off.y) * um_per_px < kOffUm && std::abs(ratio - 1.0) < kOtherRadius;
}

}  // namespace

std::optional<Ellipse> CoreUnderScratches(const FibreGeometry& fibre,
                                          const ContrastMap& contrast,
                                          const std::vector<Region>& regions) {
  const bool crossed = std::any_of(regions.begin(), regions.end(), [&](const Region& region) {
    return region.is_line && RunsAcrossCore(contrast, region);
  });
  const double um_per_px = contrast.um_per_cell / contrast.cell_px;
  const bool wide = fibre.core && fibre.core->MeanRadius() * um_per_px > kLargestSingleModeUm;
  if (!crossed || wide) return std::nullopt;
  const cv::Mat under = UnderScratches(contrast, regions);
  cv::Point2d middle = contrast.centre_cell;
  std::optional<Ellipse> core;
  // A core is not quite in the middle of its cladding: about its own middle, the second time.
  for (int turn = 0; turn < 2; ++turn) {
    const auto found = LocateIn(contrast, under, middle, fibre);
    if (!found) break;
    core = found;
    middle = found->centre_px;
  }
  if (!core) return std::nullopt;
  core->centre_px = contrast.PxFromCell(core->centre_px);
  core->semi_major_px *= contrast.cell_px;
  core->semi_minor_px *= contrast.cell_px;
  if (fibre.core && IsThatCore(*core, *fibre.core, um_per_px)) return std::nullopt;
  return core;
}

}  // namespace endgrade
