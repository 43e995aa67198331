#include "detect/line_profile.h"
#include "detect/line_trace.h"
#include "detect/response.h"
#include "endgrade/explain.h"
#include "measure/band.h"
#include "measure/shape.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

namespace endgrade {
namespace {

constexpr double kLeastBlurCells = 0.4;  // as src/measure takes it
constexpr double kBarPerSigma = 2.4;     // bar width over the sigma of the Gaussian nearest to it
constexpr double kMostReachUm = 80.0;    // of a profile to either side
constexpr int kDirections = 36;          // tried for a defect's profile
constexpr double kStepCells = 0.5;       // along a profile
constexpr double kJoinedShare = 1.25;    // a width this much over one bar's is that of two
constexpr double kSameSnr = 1e-9;

// A feature keeps no note of its region: measured alone, its region gives the same feature again.
// Where neighbours have had a say in it, its signal-to-noise tells the region, if only one has it.
std::optional<std::size_t> RegionOf(const GradedPicture& picture, const Feature& feature) {
  const auto& regions = picture.workings.detection.regions;
  const Scale& scale = picture.grade.fibres.front().scale;
  std::vector<std::size_t> alike;
  for (std::size_t i = 0; i < regions.size(); ++i) {
    if (std::abs(regions[i].snr - feature.snr) > kSameSnr) continue;
    alike.push_back(i);
    const auto alone = MeasureFeatures(
        picture.frame, picture.workings.contrast, scale, picture.limits, {regions[i]});
    if (alone.size() == 1 && alone[0].centre_px == feature.centre_px &&
        alone[0].outline_px == feature.outline_px) {
      return i;
    }
  }
  return alike.size() == 1 ? std::optional(alike.front()) : std::nullopt;
}

// One straight way over a map of cells.
struct Way {
  cv::Point2d middle;  // cells
  cv::Point2d along;   // unit
  [[nodiscard]] cv::Point2d At(double cells) const { return middle + along * cells; }
};

// A map whose cells are `reduction` cells of the contrast map wide.
struct Reduced {
  cv::Mat image;
  int reduction = 1;
  [[nodiscard]] double At(cv::Point2d cell) const {
    return SampleAt(image, {(cell.x + 0.5) / reduction - 0.5, (cell.y + 0.5) / reduction - 0.5});
  }
};

std::vector<double> Read(const Reduced& map, const Way& way, int steps) {
  std::vector<double> values;
  for (int i = -steps; i <= steps; ++i) values.push_back(map.At(way.At(i * kStepCells)));
  return values;
}

// Steps from the middle to where `values` falls through the border, to either side.
std::pair<double, double> Crossings(const std::vector<double>& values, double border, double sign) {
  const auto middle = static_cast<int>(values.size() / 2);
  const auto walk = [&](int step) {
    const auto over = [&](int i) { return sign * (values[static_cast<std::size_t>(i)] - border); };
    for (int i = middle; i + step >= 0 && i + step < static_cast<int>(values.size()); i += step) {
      if (over(i) >= 0 && over(i + step) < 0) {
        const double part = over(i) / (over(i) - over(i + step));
        return std::abs(i - middle) + part;
      }
    }
    return static_cast<double>(middle);
  };
  return {-walk(-1), walk(1)};
}

double UmPerCellAlong(const ContrastMap& map, cv::Point2d along) {
  const cv::Vec2d um = map.um_from_cell * cv::Vec2d(along.x, along.y);
  return std::hypot(um[0], um[1]);
}

// The map on which the search took the border. A feature of several pieces names the smoothing of
// its coarsest, but peak and depth of its strongest: the scale at which the peak is that high.
Reduced Smooth(const ContrastMap& map,
               const std::vector<ScaleNoise>& scales,
               const Region& region) {
  Reduced best{map.residual, 1};
  double least = 1e300;
  for (const ScaleNoise& scale : scales) {
    if (scale.sigma_cells > region.smoothing_cells + kSameSnr) continue;
    const Response response = RespondAtScale(map, map.residual, scale.sigma_cells);
    const Reduced here{response.smooth, response.reduction};
    const double apart = std::abs(here.At(region.peak) - region.base - region.depth);
    if (apart >= least) continue;
    least = apart;
    best = here;
  }
  return best;
}

// Through the peak, along the longest direction of what is over the border, or across it for a
// narrow thing, whose size is its width.
Way ChooseWay(const Reduced& smooth, const Region& region, double border, bool narrow, int steps) {
  Way best{region.peak, {1, 0}};
  double best_extent = -1;
  for (int i = 0; i < kDirections; ++i) {
    const double angle = i * CV_PI / kDirections;
    const Way way{region.peak, {std::cos(angle), std::sin(angle)}};
    const auto [left, right] =
        Crossings(Read(smooth, way, steps), border, region.depth < 0 ? -1 : 1);
    const double extent = narrow ? -(right - left) - 1.0 : right - left;
    if (i == 0 || extent > best_extent) {
      best = way;
      best_extent = extent;
    }
  }
  return best;
}

ProfileAcross ProfileOfRegion(const ContrastMap& map,
                              const std::vector<ScaleNoise>& scales,
                              const Region& region,
                              const Feature& feature,
                              double seen_um) {
  ProfileAcross profile;
  const Reduced smooth = Smooth(map, scales, region);
  const double reach_um = std::min(kMostReachUm, 0.9 * seen_um + 4.0);
  const int steps = static_cast<int>(std::ceil(reach_um / map.um_per_cell / kStepCells));
  profile.base_level = smooth.At(region.peak) - region.depth;
  profile.border_level = profile.base_level + 0.5 * region.depth;
  const bool narrow = feature.kind == FeatureKind::kScratch;
  const Way way = ChooseWay(smooth, region, profile.border_level, narrow, steps);
  const double um = UmPerCellAlong(map, way.along) * kStepCells;
  profile.level = Read(smooth, way, steps);
  profile.raw = Read({map.residual, 1}, way, steps);
  for (int i = -steps; i <= steps; ++i) profile.offset_um.push_back(i * um);
  const auto [left, right] =
      Crossings(profile.level, profile.border_level, region.depth < 0 ? -1 : 1);
  profile.border_um = {left * um, right * um};
  profile.from_px = map.PxFromCell(way.At(-steps * kStepCells));
  profile.to_px = map.PxFromCell(way.At(steps * kStepCells));
  return profile;
}

// Where the region's cells lie beside the way's line, in the middle of their range, cells.
double MiddleAcross(const Region& region, const Way& way) {
  const cv::Point2d ahead(way.along.y, -way.along.x);
  std::vector<double> offsets;
  for (const cv::Point& cell : region.cells) {
    const cv::Point2d from = cv::Point2d(cell) - way.middle;
    if (std::abs(from.dot(ahead)) < 5.0) offsets.push_back(from.dot(way.along));
  }
  if (offsets.empty()) return 0.0;
  const auto [low, high] = std::minmax_element(offsets.begin(), offsets.end());
  return 0.5 * (*low + *high);
}

Way AcrossSpine(const Region& region) {
  const std::size_t middle = region.spine.size() / 2;
  const cv::Point2d ahead = region.spine[std::min(middle + 1, region.spine.size() - 1)];
  const cv::Point2d behind = region.spine[middle > 0 ? middle - 1 : 0];
  const double length = std::max(1e-9, std::hypot(ahead.x - behind.x, ahead.y - behind.y));
  const cv::Point2d along = (ahead - behind) * (1.0 / length);
  return {region.spine[middle], {-along.y, along.x}};
}

ProfileAcross ProfileOfLine(const ContrastMap& map, const Region& region) {
  ProfileAcross profile;
  const double blur = BlurOfLines(map);
  const double half = ReachAcross(map);  // as the search looks
  LineProfile line = MeasureProfile(map.residual, region.spine, blur, half);
  const Way way = AcrossSpine(region);
  const double um = UmPerCellAlong(map, way.along);
  double centre_cells = line.centre_cells;
  // Two sides that were found side by side count as one scratch: no single bar is its width.
  const bool joined = region.line_width_cells > kJoinedShare * line.width_cells;
  if (joined) {
    line = MeasureProfile(
        map.residual, region.spine, blur, std::max(half, 1.5 * region.line_width_cells));
    centre_cells = MiddleAcross(region, way);
  }
  double apart = 0;
  for (std::size_t i = 0; i < line.offsets.size(); ++i) {
    profile.offset_um.push_back(line.offsets[i] * um);
    profile.level.push_back(line.values[i]);
    if (joined) continue;
    profile.model.push_back(line.ModelAt(line.offsets[i], blur));
    apart += line.values[i] - profile.model.back();
  }
  if (!joined) profile.base_level = apart / static_cast<double>(line.values.size());
  for (double& level : profile.model) level += profile.base_level;
  profile.border_level = profile.base_level + 0.5 * line.peak;
  const double half_width = 0.5 * region.line_width_cells;
  profile.border_um = {(centre_cells - half_width) * um, (centre_cells + half_width) * um};
  profile.from_px = map.PxFromCell(way.At(line.offsets.front()));
  profile.to_px = map.PxFromCell(way.At(line.offsets.back()));
  return profile;
}

// The scale of the search nearest to the feature's own, and that scale's noise at its peak.
void AddResponse(const GradedPicture& picture, const Region& region, Evidence* evidence) {
  const ContrastMap& map = picture.workings.contrast;
  const auto& scales = picture.workings.detection.scales;
  const double wanted =
      region.is_line ? region.line_width_cells / kBarPerSigma : region.smoothing_cells;
  const auto nearest =
      std::min_element(scales.begin(), scales.end(), [&](const ScaleNoise& a, const ScaleNoise& b) {
        return std::abs(a.sigma_cells - wanted) < std::abs(b.sigma_cells - wanted);
      });
  if (nearest == scales.end()) return;
  evidence->filter_um = nearest->sigma_cells * map.um_per_cell;
  const Response response = RespondAtScale(map, map.residual, nearest->sigma_cells);
  const cv::Point2d at((region.peak.x + 0.5) / response.reduction - 0.5,
                       (region.peak.y + 0.5) / response.reduction - 0.5);
  evidence->response = SampleAt(response.band, at);
  const cv::Point cell(std::clamp(cvRound(region.peak.x), 0, map.radius_um.cols - 1),
                       std::clamp(cvRound(region.peak.y), 0, map.radius_um.rows - 1));
  evidence->noise = nearest->ring_noise[map.RingOf(map.radius_um.at<float>(cell))];
}

}  // namespace

Result<Evidence> FindEvidence(const GradedPicture& picture, int id) {
  const auto problem = [&](const std::string& what, const std::string& remedy) {
    return Error{ErrorKind::kBadOption, picture.frame.path.string(), 0, what, remedy};
  };
  if (picture.grade.fibres.empty()) return problem("no fibre was found in it", "");
  const FibreGrade& fibre = picture.grade.fibres.front();
  const auto found = std::find_if(fibre.features.begin(),
                                  fibre.features.end(),
                                  [&](const Feature& feature) { return feature.id == id; });
  if (found == fibre.features.end()) {
    const std::size_t count = fibre.features.size();
    return problem("has no feature " + std::to_string(id),
                   count == 0 ? "Nothing was found in its zones"
                              : "Its features are 1 to " + std::to_string(count));
  }
  const auto region = RegionOf(picture, *found);
  if (!region) return problem("was graded in another way than it is explained", "Grade it again");

  Evidence evidence;
  evidence.feature = static_cast<std::size_t>(found - fibre.features.begin());
  evidence.region = *region;
  const ContrastMap& map = picture.workings.contrast;
  const Region& seen = picture.workings.detection.regions[*region];
  evidence.depth = seen.depth;
  evidence.threshold_sigma = seen.is_line ? picture.options.detect.line_threshold_sigma
                                          : picture.options.detect.threshold_sigma;
  std::vector<cv::Point2d> border;
  if (seen.is_line) {
    for (const cv::Point2d& p : seen.spine) border.push_back(fibre.scale.ToUm(map.PxFromCell(p)));
  } else {
    for (const cv::Point2f& p : seen.edge) border.push_back(fibre.scale.ToUm(map.PxFromCell(p)));
  }
  if (!border.empty()) {
    const Shape shape = DescribeShape(border);
    evidence.seen_diameter_um = shape.diameter_enclosing_um;
    evidence.nearest_um = shape.nearest_um;
  }
  // A scratch that was found as a patch is measured across its middle as a line is.
  std::optional<Region> line;
  if (seen.is_line) {
    line = seen;
  } else if (found->kind == FeatureKind::kScratch) {
    if (auto band = MeasureBand(map, seen)) {
      line = seen;
      line->spine = std::move(band->middle);
      line->line_width_cells = band->width_cells;
    }
  }
  evidence.width_across = line.has_value();
  const double blur_cells =
      line ? BlurOfLines(map)
           : std::hypot(std::max(kLeastBlurCells, map.blur_sigma_cells), seen.smoothing_cells);
  evidence.blur_um = map.um_per_cell * blur_cells;
  AddResponse(picture, seen, &evidence);
  evidence.profile =
      line ? ProfileOfLine(map, *line)
           : ProfileOfRegion(
                 map, picture.workings.detection.scales, seen, *found, evidence.seen_diameter_um);
  return evidence;
}

std::vector<int> FeaturesWorthExplaining(const GradedPicture& picture, std::size_t most_allowed) {
  std::vector<int> ids;
  if (picture.grade.fibres.empty()) return ids;
  const auto& features = picture.grade.fibres.front().features;
  for (const Feature& feature : features) {
    if (!feature.breaks.empty()) ids.push_back(feature.id);
  }
  if (!ids.empty()) return ids;
  std::vector<const Feature*> largest;
  for (const Feature& feature : features) largest.push_back(&feature);
  std::stable_sort(largest.begin(), largest.end(), [](const Feature* a, const Feature* b) {
    return a->size_um > b->size_um;
  });
  largest.resize(std::min(largest.size(), most_allowed));
  for (const Feature* feature : largest) ids.push_back(feature->id);
  std::sort(ids.begin(), ids.end());
  return ids;
}

}  // namespace endgrade
