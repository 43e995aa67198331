#include "core/gaussian.h"
#include "detect/line_profile.h"
#include "endgrade/lay.h"
#include "endgrade/measure.h"
#include "measure/band.h"
#include "measure/blurred_disc.h"
#include "measure/enclosing_circle.h"
#include "measure/scratch_ends.h"
#include "measure/shape.h"
#include "measure/speck_blur.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <optional>

namespace endgrade {
namespace {

// What shape separates a scratch from a defect was not found in public; ours is a stated choice
// (see zones/): at least five times as long as wide, at least 12 um long, and narrow.
constexpr double kScratchAspect = 5.0;
constexpr double kSlenderUm = 3.0;           // a wider one must be
constexpr double kScratchAspectWide = 10.0;  // this much longer than wide
constexpr double kScratchLengthUm = 10.0;
constexpr double kScratchWidestUm = 6.0;
// A straight one with parallel sides is a scratch even when it is wide: hairs and smears bend.
constexpr double kStraight = 1.35;  // width of its hull over its own
constexpr double kStraightWidestUm = 8.0;
constexpr double kStrayUm = 0.8;  // a band that wanders more than this off a gentle bend is a crack

// Parts of the size's uncertainty (standard, k = 1). Measured on the tuning renders.
constexpr double kEdgePerSnr = 1.6;   // in units of the total blur: shift of an edge by noise
constexpr double kCellShare = 0.15;   // of a cell: where the grid lies
constexpr double kBlurShare = 0.10;   // of the blur: how well the blur itself is known
constexpr double kThinEdgeUm = 0.30;  // where a mark ends that thins out towards its edge
constexpr double kThinRimUm = 1.00;   // the same of a rim
constexpr double kSoftRimUm = 0.60;   // of one whose middle is hardly fainter
constexpr double kByRimUm = 1.1;      // beside the cladding's edge, which is taken off with doubt
constexpr double kByRimReachUm = 4.0;
// On the ferrule a bright speck may be the shine in the middle of a particle whose dark edge the
// grain hides.
constexpr double kHiddenEdgeUm = 0.8;
constexpr double kRaggedShare = 0.10;  // of the size, of what the circle around it leaves empty
constexpr double kShapeShare = 0.06;   // of the size: half height is not the edge of every shape

// The same of a scratch's width, beyond what the fit of its profile says: scratches are no bars.
constexpr double kLineEdgeUm = 0.26;
constexpr double kLineShapeShare = 0.10;
constexpr double kLineBlurShare = 0.30;
constexpr double kLineCellShare = 0.45;  // of a cell: narrower than two, a line shows no width
// Of how much narrower than the blur it is: of such a line width times depth is told, hardly
// either.
constexpr double kNarrowShare = 0.45;

struct Context {
  const Frame& frame;
  const ContrastMap& map;
  const Scale& scale;
  const Limits& limits;
  double blur_cells;  // of specks
};

cv::Point2d UmFromCell(const Context& c, cv::Point2d cell) {
  return c.scale.ToUm(c.map.PxFromCell(cell));
}

float AtCell(const cv::Mat& image, cv::Point2d cell) {
  const int x = std::clamp(static_cast<int>(std::lround(cell.x)), 0, image.cols - 1);
  const int y = std::clamp(static_cast<int>(std::lround(cell.y)), 0, image.rows - 1);
  return image.at<float>(y, x);
}

// A closed outline around the region's cells, in picture pixels. A region may be in several parts
// that are near one another: a line's are joined along it, others are widened until one outline
// goes round all of them.
std::vector<cv::Point2d> Outline(const Context& c, const Region& region) {
  constexpr int kWidest = 16;  // cells
  constexpr int kMargin = kWidest + 1;
  const cv::Rect box = cv::boundingRect(region.cells);
  cv::Mat mask = cv::Mat::zeros(box.height + 2 * kMargin, box.width + 2 * kMargin, CV_8UC1);
  const cv::Point shift = box.tl() - cv::Point(kMargin, kMargin);
  for (const cv::Point& cell : region.cells) mask.at<uchar>(cell - shift) = 255;
  for (size_t i = 1; region.is_line && i < region.spine.size(); ++i) {
    const cv::Point from(region.spine[i - 1]);
    cv::line(mask, from - shift, cv::Point(region.spine[i]) - shift, cv::Scalar(255));
  }
  std::vector<std::vector<cv::Point>> contours;
  for (int i = 0; i < kWidest && contours.size() != 1; ++i) {
    cv::dilate(mask, mask, cv::Mat::ones(3, 3, CV_8UC1));
    cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_SIMPLE, shift);
  }
  const auto longest =
      std::max_element(contours.begin(), contours.end(), [](const auto& a, const auto& b) {
        return std::abs(cv::contourArea(a)) < std::abs(cv::contourArea(b));
      });
  std::vector<cv::Point2d> outline;
  for (const cv::Point& p : *longest) outline.push_back(c.map.PxFromCell(cv::Point2d(p)));
  return outline;
}

void MarkFlags(const Context& c, const Region& region, Feature* feature) {
  const cv::Size size = c.map.level.size();
  const auto white = static_cast<float>(c.frame.white_level - 0.5);
  for (const cv::Point& cell : region.cells) {
    const cv::Point2d px = c.map.PxFromCell(cv::Point2d(cell));
    const bool at_border =
        cell.x == 0 || cell.y == 0 || cell.x == size.width - 1 || cell.y == size.height - 1;
    const double reach = 1.5 * c.map.cell_px;
    const bool at_frame = px.x < reach || px.y < reach || px.x > c.frame.luma.cols - 1 - reach ||
                          px.y > c.frame.luma.rows - 1 - reach;
    feature->cut_by_frame = feature->cut_by_frame || (at_border && at_frame);
    const float level = c.map.level.at<float>(cell);
    feature->saturated = feature->saturated || level <= 0.5F || level >= white;
  }
}

// Of a width that the brightness across a line told: k = 2. `fitted_um`: what the fit itself says.
double WidthUncertainty(const Context& c, double width_um, double fitted_um) {
  const double um = c.scale.um_per_px * c.map.cell_px;
  const double relative = c.scale.um_per_px_uncertainty / c.scale.um_per_px;
  const double blur_um = c.map.blur_sigma_cells * um;
  const double narrower_um = std::max(0.0, kFwhmPerSigma * BlurOfLines(c.map) * um - width_um);
  const double model_um =
      std::hypot(std::hypot(kLineEdgeUm, kLineCellShare * um),
                 std::hypot(kLineShapeShare * width_um, kLineBlurShare * blur_um),
                 kNarrowShare * narrower_um);
  return std::hypot(fitted_um, 2.0 * model_um, relative * width_um);
}

void MeasureLine(const Context& c, const Region& region, Feature* feature) {
  const double um = c.scale.um_per_px * c.map.cell_px;
  feature->kind = FeatureKind::kScratch;
  feature->width_um = region.line_width_cells * um;
  feature->size_um = *feature->width_um;
  feature->size_uncertainty_um =
      WidthUncertainty(c, feature->size_um, region.line_width_uncertainty_cells * um);
  double length = 0;
  std::vector<cv::Point2d> spine;
  for (const cv::Point2d& cell : region.spine) spine.push_back(UmFromCell(c, cell));
  double nearest = 1e9;
  for (size_t i = 0; i < spine.size(); ++i) {
    if (i == 0) continue;
    const cv::Point2d piece = spine[i] - spine[i - 1];
    const double run = std::hypot(piece.x, piece.y);
    length += run;
    // The distance from the centre to this straight piece.
    const double along =
        run > 0 ? std::clamp(-spine[i - 1].dot(piece) / (run * run), 0.0, 1.0) : 0.0;
    const cv::Point2d foot = spine[i - 1] + piece * along;
    nearest = std::min(nearest, std::hypot(foot.x, foot.y));
  }
  feature->length_um = length;
  feature->area_um2 = length * feature->size_um;
  feature->diameter_enclosing_um = FitEnclosingCircle(spine).diameter + feature->size_um;
  feature->zone = ZoneAt(c.limits, std::max(0.0, nearest - 0.5 * feature->size_um));
  const cv::Point2d middle = region.spine[region.spine.size() / 2];
  feature->centre_px = c.map.PxFromCell(middle);
}

// A scratch scatters light away from the lens; what is wide, short and brighter than its
// surroundings by two fifths reflects it, as lint does. Our choice, after faces that passed with
// lint on them.
bool MayBeLint(const Feature& feature) {
  constexpr double kLeastContrast = 0.4;
  constexpr double kLeastWidthUm = 3.0;
  constexpr double kMostSlender = 14.0;
  return feature.kind == FeatureKind::kScratch && feature.contrast_peak >= kLeastContrast &&
         feature.width_um && *feature.width_um >= kLeastWidthUm && feature.length_um &&
         *feature.length_um <= kMostSlender * *feature.width_um;
}

// A scratch that was found as a region: short, or strong and crooked. Its width is told by the
// brightness across it; where no bar explains that, by its area over its length, which is the most
// that it can be: what smoothing added in the search stays in.
struct Thin {
  double width_um = 0;
  std::optional<Band> band;
};

bool IsThin(const Shape& shape, double seen_width_um, double blur_um, double width_um) {
  if (shape.length_um < kScratchLengthUm) return false;
  if (shape.bent_width_um > kStraight * seen_width_um + kStrayUm) return false;
  const double true_width = std::max(width_um, 0.3 * blur_um);
  if (width_um > kSlenderUm && shape.width_um <= kStraight * seen_width_um) {
    return width_um <= kStraightWidestUm && shape.length_um >= kScratchAspect * true_width;
  }
  const double hull_width = std::max(shape.width_um - blur_um, true_width);
  const double aspect = width_um > kSlenderUm ? kScratchAspectWide : kScratchAspect;
  return width_um <= kScratchWidestUm &&
         shape.length_um >= aspect * std::max(true_width, 0.5 * hull_width) &&
         shape.length_um >= 3.0 * shape.width_um;
}

// Nothing where it is no scratch. By both its area and the brightness across it, for a scratch may
// be allowed where a defect is not.
std::optional<Thin> MeasureThin(const Context& c,
                                const Region& region,
                                const Shape& shape,
                                double seen_area_um2,
                                double blur_um) {
  const double seen_width = seen_area_um2 / std::max(shape.length_um, 1e-9);
  Thin thin;
  thin.width_um = DiscBehindBlur(seen_width, blur_um).diameter;
  if (!IsThin(shape, seen_width, blur_um, thin.width_um)) return std::nullopt;
  thin.band = MeasureBand(c.map, region);
  const double um = c.scale.um_per_px * c.map.cell_px;
  thin.width_um = thin.band ? thin.band->width_cells * um
                            : DiscBehindBlur(seen_width, um * BlurOfLines(c.map)).diameter;
  if (!IsThin(shape, seen_width, blur_um, thin.width_um)) return std::nullopt;
  return thin;
}

// A mark is no disc: blur takes its corners first, and the circle round it hangs on them. A thin
// rim is widened by the blur as a line is, not moved as an edge is. In total blurs, both measured
// on the tuning renders.
constexpr double kCorners = 0.5;
constexpr double kRimWidening = 1.4;
constexpr double kOneSide = 0.6;  // of the directions: a rim that is seen in fewer lies on one side
constexpr double kRingShare = 0.7;  // of the filled area that is seen

DiscSize TrueDiameter(const Shape& shape, const Region& region, bool rimmed, double blur_um) {
  const double seen_um = shape.diameter_enclosing_um;
  if (rimmed || region.soft_rim) {
    // A rim on one side widens one end; the other is an edge. A soft one is in between all around.
    const bool half = !rimmed || region.rim_share < kOneSide;
    const double widened = half ? 0.5 * kRimWidening : kRimWidening;
    return {std::max(0.0, seen_um - widened * blur_um), 1.0};
  }
  DiscSize disc = DiscBehindBlur(seen_um, blur_um);
  disc.diameter += kCorners * blur_um;
  return disc;
}

void MeasureRegion(const Context& c, const Region& region, Feature* feature) {
  const double um = c.scale.um_per_px * c.map.cell_px;
  std::vector<cv::Point2d> edge;
  edge.reserve(region.edge.size());
  for (const cv::Point2f& p : region.edge) edge.push_back(UmFromCell(c, p));
  const Shape shape = DescribeShape(edge);
  const double blur_um = um * std::hypot(std::max(0.4, c.blur_cells), region.smoothing_cells);
  const double seen_area = static_cast<double>(region.cells.size()) * um * um;
  // A dark rim round a middle like the glass is a ring of its own.
  const double filled = 0.25 * CV_PI * shape.length_um * shape.width_um;
  const bool rimmed = region.rimmed || seen_area < kRingShare * filled;
  const DiscSize disc = TrueDiameter(shape, region, rimmed, blur_um);
  const double shrink =
      shape.diameter_enclosing_um > 0 ? disc.diameter / shape.diameter_enclosing_um : 1.0;

  feature->diameter_enclosing_um = disc.diameter;
  feature->area_um2 = seen_area * shrink * shrink;
  feature->centre_px = c.scale.ToPx(shape.centre_um);
  double sensitivity = disc.sensitivity;
  std::optional<Thin> thin;
  if (!region.no_scratch) thin = MeasureThin(c, region, shape, seen_area, blur_um);
  if (thin) {
    feature->kind = FeatureKind::kScratch;
    feature->size_um = thin->width_um;
    feature->width_um = thin->width_um;
    feature->length_um = shape.length_um;
    sensitivity = DiscBehindBlur(seen_area / shape.length_um, blur_um).sensitivity;
  } else {
    feature->kind = FeatureKind::kDefect;
    feature->size_um = disc.diameter;
    feature->width_um = DiscBehindBlur(shape.width_um, blur_um).diameter;
    feature->length_um = DiscBehindBlur(shape.length_um, blur_um).diameter;
  }
  const double relative = 0.5 * c.scale.um_per_px_uncertainty / c.scale.um_per_px;
  const double edge_um = sensitivity * blur_um * kEdgePerSnr / std::max(region.snr, 1.0);
  const double blur_doubt = (sensitivity - 1.0) * kFwhmPerSigma * kBlurShare * blur_um;
  const bool by_rim = std::abs(shape.nearest_um - c.map.cladding_radius_um) < kByRimReachUm;
  const bool on_ferrule =
      std::hypot(shape.centre_um.x, shape.centre_um.y) > c.map.cladding_radius_um;
  const double border_um = rimmed ? kThinRimUm : region.soft_rim ? kSoftRimUm : kThinEdgeUm;
  const double thin_edge_um = std::hypot(
      border_um, by_rim ? kByRimUm : 0.0, on_ferrule && region.depth > 0 ? kHiddenEdgeUm : 0.0);
  const double fixed =
      std::hypot(std::hypot(kCellShare * um * sensitivity, thin_edge_um), blur_doubt, edge_um);
  // Of what is ragged the circle hangs on a few points of its border.
  const double round = 0.25 * CV_PI * shape.diameter_enclosing_um * shape.diameter_enclosing_um;
  const double empty = round > 0 ? std::clamp(1.0 - seen_area / round, 0.0, 1.0) : 0.0;
  feature->size_uncertainty_um =
      2.0 * std::hypot(fixed,
                       relative * feature->size_um,
                       std::hypot(kShapeShare, kRaggedShare * empty) * feature->size_um);
  if (thin && thin->band) {
    feature->size_uncertainty_um =
        WidthUncertainty(c, feature->size_um, thin->band->uncertainty_cells * um);
  }
  // A film over the centre touches it although its border is far away.
  double nearest = shape.nearest_um;
  for (const cv::Point& cell : region.cells) {
    nearest = std::min(nearest, static_cast<double>(c.map.radius_um.at<float>(cell)));
  }
  // The seen border lies outside the true one by half of what the blur adds.
  const double soft = 0.5 * (shape.diameter_enclosing_um - disc.diameter);
  const double middle = std::hypot(shape.centre_um.x, shape.centre_um.y);
  feature->zone = ZoneAt(c.limits, std::clamp(nearest + soft, 0.0, std::max(middle, nearest)));
}

bool Before(const Feature& a, const Feature& b) {
  if (a.zone != b.zone) return a.zone < b.zone;
  if (a.size_um != b.size_um) return a.size_um > b.size_um;
  if (a.centre_px.y != b.centre_px.y) return a.centre_px.y < b.centre_px.y;
  return a.centre_px.x < b.centre_px.x;
}

// Only much sharper specks contradict the rim: both are read off a few edges.
double BlurOfSpecks(const ContrastMap& map, const std::vector<Region>& regions) {
  constexpr double kSharper = 0.75;
  const auto sigma = BlurBySpecks(map, regions);
  return sigma && *sigma < kSharper * map.blur_sigma_cells ? *sigma : map.blur_sigma_cells;
}

}  // namespace

std::vector<Feature> MeasureFeatures(const Frame& frame,
                                     const ContrastMap& contrast,
                                     const Scale& scale,
                                     const Limits& limits,
                                     const std::vector<Region>& regions) {
  const Context context{frame, contrast, scale, limits, BlurOfSpecks(contrast, regions)};
  const std::vector<bool> may_hide = MayHideAnother(contrast, regions);
  std::vector<Feature> features;
  for (size_t i = 0; i < regions.size(); ++i) {
    const Region& region = regions[i];
    if (region.cells.empty()) continue;
    Feature feature;
    feature.may_hide_another = may_hide[i];
    feature.snr = region.snr;
    if (region.is_line) {
      MeasureLine(context, region, &feature);
    } else {
      MeasureRegion(context, region, &feature);
    }
    if (feature.zone < 0) continue;  // wholly outside the contact zone: nothing is asked there
    const float background = AtCell(contrast.background, region.peak);
    feature.contrast_peak = region.depth / std::max(1.0, static_cast<double>(background));
    feature.may_be_lint = MayBeLint(feature);
    feature.centre_um = scale.ToUm(feature.centre_px);
    feature.outline_px = Outline(context, region);
    MarkFlags(context, region, &feature);
    features.push_back(std::move(feature));
  }
  std::stable_sort(features.begin(), features.end(), Before);
  for (size_t i = 0; i < features.size(); ++i) features[i].id = static_cast<int>(i) + 1;
  return features;
}

}  // namespace endgrade
