#include "detect/taken_line.h"

#include "detect/direction.h"
#include "detect/follow_line.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kOffLineCells = 2.0;
constexpr double kOffLineShare = 0.06;  // of the distance from the end, besides
constexpr double kMostGapUm = 15.0;
constexpr double kLikeHeights = 3.0;  // ratio

double DistanceTo(const std::vector<cv::Point2d>& points, cv::Point2d p) {
  double squared = 1e18;
  for (const cv::Point2d& q : points) squared = std::min(squared, (p - q).dot(p - q));
  return std::sqrt(squared);
}

// Whether `other` lies on the spine or carries it on beyond its end, or both.
bool CarriesOn(const std::vector<cv::Point2d>& spine,
               const std::vector<cv::Point2d>& other,
               double most_gap) {
  const std::vector<cv::Point2d> points = Resample(spine, 1.0);
  const std::vector<cv::Point2d> others = Resample(other, 2.0);
  if (points.size() < 4 || others.size() < 3) return false;
  const auto back = std::min(points.size() - 1, static_cast<size_t>(kTangent));
  const cv::Point2d end = points.back();
  const cv::Point2d along = Unit(end - points[points.size() - 1 - back]);
  double nearest = 1e18;
  for (const cv::Point2d& p : others) {
    const double ahead = (p - end).dot(along);
    const double off = ahead > 0 ? std::abs((p - end).cross(along)) : DistanceTo(points, p);
    if (off > kOffLineCells + kOffLineShare * std::max(0.0, ahead)) return false;
    nearest = std::min(nearest, ahead);
  }
  return nearest < most_gap;
}

bool IsOneLine(const ContrastMap& map, const TakenLine& line, const TakenLine& other) {
  const double a = line.model.profile.peak;
  const double b = other.model.profile.peak;
  if (a * b <= 0 || std::abs(a) > kLikeHeights * std::abs(b)) return false;
  if (std::abs(b) > kLikeHeights * std::abs(a)) return false;
  const std::vector<cv::Point2d> forth = line.trace.spine;
  const std::vector<cv::Point2d> back(forth.rbegin(), forth.rend());
  if (SideOfRim(map, forth[forth.size() / 2]) !=
      SideOfRim(map, other.trace.spine[other.trace.spine.size() / 2])) {
    return false;
  }
  const double most_gap = kMostGapUm / map.um_per_cell;
  // Most lines are far apart, and hundreds of them make many pairs.
  const double reach = most_gap + kOffLineCells + 1.0;
  const cv::Size size = map.level.size();
  if ((BoxAround(forth, reach, size) & BoxAround(other.trace.spine, reach, size)).empty()) {
    return false;
  }
  return CarriesOn(forth, other.trace.spine, most_gap) ||
         CarriesOn(back, other.trace.spine, most_gap);
}

// Adds what of the other spine lies beyond either end.
void TakeInSpine(const std::vector<cv::Point2d>& other, std::vector<cv::Point2d>* spine) {
  const cv::Point2d along = Unit(spine->back() - spine->front());
  std::vector<cv::Point2d> points = Resample(other, 4.0);
  points.push_back(other.back());
  std::sort(points.begin(), points.end(), [&](const cv::Point2d& a, const cv::Point2d& b) {
    return a.dot(along) < b.dot(along);
  });
  constexpr double kApart = 3.0;
  std::vector<cv::Point2d> joined;
  for (const cv::Point2d& p : points) {
    if ((p - spine->front()).dot(along) < -kApart) joined.push_back(p);
  }
  joined.insert(joined.end(), spine->begin(), spine->end());
  for (const cv::Point2d& p : points) {
    if ((p - spine->back()).dot(along) > kApart) joined.push_back(p);
  }
  *spine = std::move(joined);
}

}  // namespace

std::vector<cv::Point2d> Shifted(const std::vector<cv::Point2d>& spine, double offset_cells) {
  std::vector<cv::Point2d> moved = spine;
  for (size_t i = 0; i < spine.size(); ++i) {
    const cv::Point2d ahead = spine[std::min(i + 1, spine.size() - 1)];
    const cv::Point2d behind = spine[i > 0 ? i - 1 : 0];
    const double length = std::max(1e-9, std::hypot(ahead.x - behind.x, ahead.y - behind.y));
    moved[i] += cv::Point2d(behind.y - ahead.y, ahead.x - behind.x) * (offset_cells / length);
  }
  return moved;
}

Region LineRegion(const TakenLine& line, const Band& band) {
  Region region;
  region.is_line = true;
  region.snr = line.trace.snr;
  region.depth = line.model.profile.peak;
  region.spine = line.trace.spine;
  region.peak = region.spine[region.spine.size() / 2];
  region.line_width_cells = line.width.width_cells;
  region.line_width_uncertainty_cells = line.width.width_uncertainty_cells;
  const double half =
      std::max(0.75, 0.5 * std::hypot(line.model.profile.bar_cells, line.model.blur));
  for (int y = 0; y < band.box.height; ++y) {
    for (int x = 0; x < band.box.width; ++x) {
      if (std::abs(static_cast<double>(band.distance.at<float>(y, x))) <= half) {
        region.cells.emplace_back(band.box.x + x, band.box.y + y);
      }
    }
  }
  return region;
}

Band MeasureAndTakeOut(const ContrastMap& map,
                       const LineProfile& profile,
                       std::optional<Band> band,
                       TakenLine* line,
                       cv::Mat* residual) {
  const double blur = std::max(kLeastLineBlur, map.blur_sigma_cells);
  const double line_blur = BlurOfLines(map);
  line->width = MeasureProfile(*residual, line->trace.spine, line_blur, ReachAcross(map));
  // Whichever blur explains the line better is its model.
  const bool sharper = line->width.misfit < profile.misfit;
  line->model.profile = sharper ? line->width : profile;
  line->model.blur = sharper ? line_blur : blur;
  constexpr double kNarrower = 0.3;  // cells that a band may be too narrow by
  const double half = 0.5 * line->model.profile.bar_cells + 3.0 * blur + 3.0;
  if (!band || half > line->half + kNarrower) {
    line->half = half;
    band = RasteriseBand(line->trace.spine, half, map.level.size());
  }
  TakeOutLine(*band, &line->model, residual);
  return *std::move(band);
}

namespace {

// The residual with lines put back and taken out of it, one at a time.
class Remeasure {
 public:
  Remeasure(const ContrastMap& map,
            std::vector<TakenLine>* taken,
            cv::Mat* residual,
            std::vector<Region>* regions)
      : map_(map), taken_(*taken), residual_(*residual), regions_(*regions) {}

  void Line(size_t i) {
    TakenLine& line = taken_[i];
    std::vector<cv::Point2d>& spine = line.trace.spine;
    std::optional<Band> band = PutBack(line);
    if (FollowBothWays(map_, residual_, line.model, &spine)) band.reset();
    for (size_t j = 0; j < taken_.size(); ++j) {
      if (j == i || taken_[j].part_of != j || !IsOneLine(map_, line, taken_[j])) continue;
      PutBack(taken_[j]);
      for (TakenLine& each : taken_) {
        if (each.part_of == j) each.part_of = i;
      }
      line.trace.snr = std::max(line.trace.snr, taken_[j].trace.snr);
      TakeInSpine(taken_[j].trace.spine, &spine);
      band.reset();
    }
    const double blur = std::max(kLeastLineBlur, map_.blur_sigma_cells);
    LineProfile profile = MeasureProfile(residual_, spine, blur, ReachAcross(map_));
    if (std::abs(profile.centre_cells) > kOffMiddle) {
      spine = Shifted(spine, profile.centre_cells);
      profile = MeasureProfile(residual_, spine, blur, ReachAcross(map_));
      band.reset();
    }
    band = MeasureAndTakeOut(map_, profile, std::move(band), &line, &residual_);
    regions_[i] = LineRegion(line, *band);
  }

 private:
  Band PutBack(const TakenLine& line) {
    Band band = RasteriseBand(line.trace.spine, line.half, map_.level.size());
    PutBackLine(band, line.model, &residual_);
    return band;
  }

  const ContrastMap& map_;
  std::vector<TakenLine>& taken_;
  cv::Mat& residual_;
  std::vector<Region>& regions_;
};

}  // namespace

void MeasureMeetingAgain(const ContrastMap& map,
                         std::vector<TakenLine>* taken,
                         cv::Mat* residual,
                         std::vector<Region>* regions) {
  Remeasure remeasure(map, taken, residual, regions);
  for (size_t i = 0; i < taken->size(); ++i) {
    if ((*taken)[i].again && (*taken)[i].part_of == i) remeasure.Line(i);
  }
  for (TakenLine& line : *taken) line.again = false;
}

}  // namespace endgrade
