#include "detect/fine_border.h"

#include "detect/narrow_rim.h"
#include "detect/pieces.h"
#include "detect/runs.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>

namespace endgrade {
namespace {

constexpr double kClearSigma = 8.0;  // a border is seen where the region stands this high
constexpr double kStrongSigma = 12.0;
constexpr double kStrongShare = 0.5;       // of the finest scale of the search
constexpr double kStrongLeastCells = 0.7;  // less does not even the grid out
constexpr double kSmallUm2 = 40.0;         // of larger ones half a blur is little
constexpr float kBorderShare = 0.5F;       // of the region's height: where a sharp-edged disc ends
constexpr float kLeastBorderSigma = 2.5F;
constexpr double kTopShare = 0.85;      // quantile of the heights inside that counts as its height
constexpr double kAllPeakAreas = 25.0;  // in blur sigmas squared: smaller ones have no plateau
constexpr double kLeastOverlap = 0.25;  // of the coarse region that the fine one must hold
constexpr double kMostGrowth = 2.0;     // fine area over coarse area
constexpr double kBeyondBorder = 1.5;   // of the coarse region's smoothing
constexpr double kLeastPartUm2 = 15.0;
constexpr double kLeastPartShare = 0.1;  // of the coarse region

// A particle may be bright with a dark rim, or the reverse, and its rim is part of it.
constexpr float kRimSigma = 5.0F;
constexpr double kRimReachUm = 3.0;
// A ring's mean is told from sharpening this much better than one cell of it.
constexpr double kMeanOverCell = 0.03;
constexpr double kMiddleDepth = 0.8;   // of the greatest distance from the border
constexpr double kLeastMiddle = 2.0;   // cells: nearer the border there is no middle to be seen
constexpr double kHollowShare = 0.75;  // of the region's height
// Where blur leaves a middle to be seen, less tells: of 751 specks and pits of 1,500 tuning
// pictures three are as hollow, of 192 particles with a rim 49.
constexpr double kPlainMiddle = 1.6;  // blurs from the border
constexpr double kPlainHollowShare = 0.92;
constexpr double kByRimUm = 6.0;     // the cladding's, where what is behind a mark is not even
constexpr double kOuterSlack = 1.0;  // cells, beyond where the rim ends on average
// Hollows shine on one side only: share of the border that must have a rim.
constexpr double kLeastRimmed = 0.15;
// A camera's fringe lies all around: what one side has more than the other is none of it. In
// heights of the body.
constexpr float kOneSided = 0.06F;
constexpr size_t kSectors = 24;  // directions around a body

// A speck this strong shows the camera's fringe, if there is one; smaller specks show somewhat
// more.
constexpr double kTellingSigma = 30.0;
constexpr size_t kLeastTelling = 3;  // so many, of which most have no rim of their own
constexpr double kLeastFringe = 0.12;
constexpr double kPerFringe = 2.0;

const std::array<cv::Point, 4> kSides = {
    cv::Point(1, 0), cv::Point(-1, 0), cv::Point(0, 1), cv::Point(0, -1)};

// The neighbourhood of a region, smoothed.
struct View {
  cv::Rect box;    // of the map
  cv::Mat height;  // CV_32FC1: in the region's own sign, above its surroundings
  cv::Mat inside;  // CV_8UC1: the region's cells
  float noise = 0;
  double sigma_cells = 0;
};

float RadiusAt(const ContrastMap& map, cv::Point2d cell) {
  const int x = std::clamp(cvRound(cell.x), 0, map.radius_um.cols - 1);
  const int y = std::clamp(cvRound(cell.y), 0, map.radius_um.rows - 1);
  return map.radius_um.at<float>(y, x);
}

size_t RingAt(const ContrastMap& map, cv::Point2d cell) { return map.RingOf(RadiusAt(map, cell)); }

struct Smoothing {
  double sigma_cells = 0;
  double noise = 0;  // at the region
};

// The least smoothing at which the region is clear, no more than it was found with. What is strong
// needs less than the search's finest scale, which is made for what is not.
std::optional<Smoothing> FinestClear(const ContrastMap& map,
                                     const std::vector<ScaleNoise>& scales,
                                     const Region& region) {
  const size_t ring = RingAt(map, region.peak);
  const double share = std::max(kStrongShare, kStrongLeastCells / scales[0].sigma_cells);
  const Smoothing half{share * scales[0].sigma_cells,
                       std::min(map.ring_noise[ring], scales[0].ring_noise[ring] / share)};
  const bool small =
      static_cast<double>(region.cells.size()) < kSmallUm2 / (map.um_per_cell * map.um_per_cell);
  if (share < 1.0 && small && std::abs(region.depth) >= kStrongSigma * half.noise) return half;
  for (const ScaleNoise& scale : scales) {
    if (scale.sigma_cells > region.smoothing_cells * 1.01) break;
    const double noise = scale.ring_noise[ring];
    if (std::abs(region.depth) >= kClearSigma * noise) return Smoothing{scale.sigma_cells, noise};
  }
  return std::nullopt;
}

View LookAt(const ContrastMap& map,
            const cv::Mat& residual,
            const Smoothing& scale,
            const Region& region) {
  View view;
  view.sigma_cells = scale.sigma_cells;
  view.noise = static_cast<float>(scale.noise);
  const cv::Rect whole(0, 0, residual.cols, residual.rows);
  const cv::Rect core = cv::boundingRect(region.cells);
  const int margin =
      static_cast<int>(std::ceil(1.5 * region.smoothing_cells + kRimReachUm / map.um_per_cell)) + 3;
  const auto grown = [&](int by) {
    return cv::Rect(core.x - by, core.y - by, core.width + 2 * by, core.height + 2 * by) & whole;
  };
  view.box = grown(margin);
  const int reach = std::max(1, static_cast<int>(std::ceil(3.0 * scale.sigma_cells)));
  const cv::Rect wide = grown(margin + reach);
  cv::Mat smooth;
  cv::GaussianBlur(residual(wide),
                   smooth,
                   cv::Size(2 * reach + 1, 2 * reach + 1),
                   scale.sigma_cells,
                   scale.sigma_cells,
                   cv::BORDER_REFLECT_101);
  const double sign = region.depth < 0 ? -1.0 : 1.0;
  smooth(view.box - wide.tl()).convertTo(view.height, CV_32FC1, sign, -sign * region.base);
  view.inside = cv::Mat::zeros(view.box.size(), CV_8UC1);
  for (size_t i = 0; i < region.body_cells; ++i) {
    view.inside.at<uchar>(region.cells[i] - view.box.tl()) = 255;
  }
  return view;
}

// Height of the region: of its plateau, or of its peak where blur leaves it none.
float TopOf(const ContrastMap& map, const View& view) {
  std::vector<float> heights;
  for (int y = 0; y < view.box.height; ++y) {
    const auto* row = view.height.ptr<float>(y);
    ForEachRun(view.inside, y, [&](const Run& run) {
      heights.insert(heights.end(), row + run.begin, row + run.end);
    });
  }
  const double blur = std::hypot(map.blur_sigma_cells, view.sigma_cells);
  if (static_cast<double>(heights.size()) < kAllPeakAreas * blur * blur) {
    return *std::max_element(heights.begin(), heights.end());
  }
  const auto at = heights.begin() +
                  static_cast<std::ptrdiff_t>(kTopShare * static_cast<double>(heights.size() - 1));
  std::nth_element(heights.begin(), at, heights.end());
  return *at;
}

// Cells reached from `seeds` over cells of `allowed`.
cv::Mat Flood(const cv::Mat& allowed, const cv::Mat& seeds) {
  cv::Mat filled = cv::Mat::zeros(allowed.size(), CV_8UC1);
  const auto holds_seed = [&](const Run& run) {
    const auto* row = seeds.ptr<uchar>(run.y);
    return std::find(row + run.begin, row + run.end, 255) != row + run.end;
  };
  for (const MaskPiece& piece : PiecesOf(allowed, Touching::kSides)) {
    if (std::none_of(piece.runs.begin(), piece.runs.end(), holds_seed)) continue;
    for (const Run& run : piece.runs) {
      auto* row = filled.ptr<uchar>(run.y);
      std::fill(row + run.begin, row + run.end, uchar{255});
    }
  }
  return filled;
}

// Where the height crosses the threshold along the outside of a mask.
void AddCrossings(const View& view,
                  const cv::Mat& mask,
                  const cv::Mat& blocked,
                  const cv::Mat& height,
                  float threshold,
                  std::vector<cv::Point2f>* edge) {
  const cv::Rect whole(0, 0, mask.cols, mask.rows);
  const cv::Point2f corner(view.box.tl());
  const auto add = [&](cv::Point cell, float inner, const cv::Point& side) {
    const cv::Point beside = cell + side;
    float part = 0.5F;
    if (whole.contains(beside)) {
      if (mask.at<uchar>(beside) || blocked.at<uchar>(beside)) return;
      const float span = inner - height.at<float>(beside);
      if (span > 0) part = std::clamp((inner - threshold) / span, 0.0F, 1.0F);
    }
    edge->emplace_back(corner.x + static_cast<float>(cell.x) + part * static_cast<float>(side.x),
                       corner.y + static_cast<float>(cell.y) + part * static_cast<float>(side.y));
  };
  for (int y = 0; y < mask.rows; ++y) {
    const auto* inner = height.ptr<float>(y);
    const bool has_both = y > 0 && y + 1 < mask.rows;
    const auto* above = has_both ? mask.ptr<uchar>(y - 1) : nullptr;
    const auto* below = has_both ? mask.ptr<uchar>(y + 1) : nullptr;
    ForEachRun(mask, y, [&](const Run& run) {
      for (int x = run.begin; x < run.end; ++x) {
        const bool within_run = x > run.begin && x + 1 < run.end;
        if (within_run && has_both && above[x] && below[x]) continue;
        for (const cv::Point& side : kSides) add({x, y}, inner[x], side);
      }
    });
  }
}

// A rectangle grown to all sides, as far as there is a mask.
cv::Rect Grown(const cv::Rect& box, int by, const cv::Mat& mask) {
  return cv::Rect(box.x - by, box.y - by, box.width + 2 * by, box.height + 2 * by) &
         cv::Rect(cv::Point(), mask.size());
}

// Cells from each outside of the body to the nearest of it; 0 inside.
cv::Mat DistanceOutside(const cv::Mat& body) {
  cv::Mat distance;
  cv::distanceTransform(body == 0, distance, cv::DIST_L2, cv::DIST_MASK_5);
  return distance;
}

// Cells from the border of `body`, below 0 inside it.
cv::Mat DistanceFromBorder(const cv::Mat& body, const cv::Mat& outside) {
  // From the nearest cells on the other side to the border between them.
  cv::Mat distance = outside - 0.5;
  const cv::Rect box = Grown(cv::boundingRect(body), 1, body);
  cv::Mat inside;
  cv::distanceTransform(body(box), inside, cv::DIST_L2, cv::DIST_MASK_5);
  for (int y = 0; y < box.height; ++y) {
    const auto* deep = inside.ptr<float>(y);
    auto* row = distance.ptr<float>(y + box.y) + box.x;
    for (int x = 0; x < box.width; ++x) {
      if (deep[x] > 0) row[x] = 0.5F - deep[x];
    }
  }
  return distance;
}

// Cells of the other sign right around `body`, and the height at which they end; empty when there
// is no rim.
struct Rim {
  cv::Mat cells;   // CV_8UC1
  cv::Mat height;  // CV_32FC1
  float threshold = 0;
  double seen_share = 1.0;  // of the directions around the body
};

// Directions around a body, told from its middle.
class Sectors {
 public:
  explicit Sectors(const cv::Mat& body) {
    std::int64_t cells = 0;
    std::int64_t twice_x = 0;
    std::int64_t y_sum = 0;
    for (int y = 0; y < body.rows; ++y) {
      ForEachRun(body, y, [&](const Run& run) {
        const std::int64_t length = run.end - run.begin;
        cells += length;
        twice_x += length * (run.begin + run.end - 1);
        y_sum += length * y;
      });
    }
    const auto count = static_cast<double>(cells);
    middle_ = {static_cast<double>(twice_x / 2) / count, static_cast<double>(y_sum) / count};
  }
  [[nodiscard]] size_t Of(int x, int y) const {
    const double turn = std::atan2(y - middle_.y, x - middle_.x) / (2.0 * CV_PI) + 0.5;
    return static_cast<size_t>(turn * kSectors) % kSectors;
  }

 private:
  cv::Point2d middle_;
};

using BySector = std::array<float, kSectors>;

// Greatest height by direction, of the cells that are `near`. `corner`: of the part of the map that
// both are, from where the sectors' body is told.
BySector MostBySector(const Sectors& sectors,
                      const cv::Mat& near,
                      const cv::Mat& height,
                      cv::Point corner = {}) {
  BySector most{};
  for (int y = 0; y < near.rows; ++y) {
    const auto* row = height.ptr<float>(y);
    ForEachRun(near, y, [&](const Run& run) {
      for (int x = run.begin; x < run.end; ++x) {
        float& highest = most[sectors.Of(x + corner.x, y + corner.y)];
        highest = std::max(highest, row[x]);
      }
    });
  }
  return most;
}

// Cells from each to the nearest of the body.
cv::Mat DistanceTo(const cv::Mat& body) {
  cv::Mat distance;
  cv::distanceTransform(body == 0, distance, cv::DIST_L2, cv::DIST_MASK_3);
  return distance;
}

// A rim's own crest lies about half the blur off the body's border.
double BesideReach(double blur) { return 1.5 + 1.2 * blur; }

// Cells right around a body.
cv::Mat RightBeside(const cv::Mat& distance, double blur) {
  return (distance > 0) & (distance <= BesideReach(blur));
}

// Least height at which a rim is seen, by direction: above what the camera's sharpening leaves all
// around, or clearly above what lies on the other side.
BySector LeastOfRim(const BySector& most, float sharpened, float least_one_sided) {
  BySector least{};
  for (size_t i = 0; i < kSectors; ++i) {
    float beyond = 0;
    for (size_t turn = kSectors / 2 - 2; turn <= kSectors / 2 + 2; ++turn) {
      beyond = std::max(beyond, most[(i + turn) % kSectors]);
    }
    least[i] = std::min(sharpened, beyond + least_one_sided);
  }
  return least;
}

std::optional<Rim> FindRim(const ContrastMap& map,
                           const View& view,
                           const cv::Mat& body,
                           const cv::Mat& from_border,
                           float top,
                           double rim_share) {
  Rim rim;
  rim.height = -view.height;
  const double blur = std::hypot(map.blur_sigma_cells, view.sigma_cells);
  const double most = kRimReachUm / map.um_per_cell;
  // Nothing further from the body than this is of its rim.
  const int furthest = cvCeil(1.1 * std::max(BesideReach(blur), most)) + 1;
  const cv::Rect box = Grown(cv::boundingRect(body), furthest, body);
  const cv::Mat distance = DistanceTo(body(box));
  const cv::Mat near = RightBeside(distance, blur);
  const cv::Mat height = rim.height(box);
  const float least_by_noise = kRimSigma * view.noise;
  const Sectors sectors(body);
  const auto least = LeastOfRim(MostBySector(sectors, near, height, box.tl()),
                                std::max(static_cast<float>(rim_share) * top, least_by_noise),
                                std::max(kOneSided * top, least_by_noise));
  cv::Mat high = cv::Mat::zeros(box.size(), CV_8UC1);
  std::array<bool, kSectors> rimmed{};
  std::vector<float> crest;
  for (int y = 0; y < box.height; ++y) {
    const auto* row = height.ptr<float>(y);
    ForEachRun(near, y, [&](const Run& run) {
      for (int x = run.begin; x < run.end; ++x) {
        const size_t sector = sectors.Of(x + box.x, y + box.y);
        if (row[x] <= least[sector]) continue;
        high.at<uchar>(y, x) = 255;
        rimmed[sector] = true;
        crest.push_back(row[x]);
      }
    });
  }
  const auto seen = std::count(rimmed.begin(), rimmed.end(), true);
  rim.seen_share = static_cast<double>(seen) / kSectors;
  if (rim.seen_share < kLeastRimmed) return std::nullopt;
  const auto middle_of = crest.begin() + static_cast<std::ptrdiff_t>(crest.size() / 2);
  std::nth_element(crest.begin(), middle_of, crest.end());
  rim.threshold = std::max(0.5F * *middle_of, kLeastBorderSigma * view.noise);
  cv::Mat looked_at = cv::Mat::zeros(body.size(), CV_8UC1);
  for (int y = 0; y < body.rows; ++y) {
    const auto* from = from_border.ptr<float>(y);
    for (int x = 0; x < body.cols; ++x) {
      if (std::abs(from[x]) > kNarrowRimReach) continue;
      if (rimmed[sectors.Of(x, y)]) looked_at.at<uchar>(y, x) = 255;
    }
  }
  const auto outer = FindNarrowRim({view.height, from_border, looked_at, 0.0, blur, 0.0});
  const double reach = outer ? std::min(*outer + kOuterSlack, most) : most;
  const cv::Mat allowed = (height > rim.threshold) & (distance > 0) & (distance <= reach);
  rim.cells = cv::Mat::zeros(body.size(), CV_8UC1);
  Flood(allowed, high).copyTo(rim.cells(box));
  return rim;
}

// The same on the map as it is, where the smoothing leaves nothing of a thin rim. Its `height` is
// the distance that is left to the rim's outer border, its cells hold the body too.
std::optional<Rim> FindRimUnsmoothed(const ContrastMap& map,
                                     const cv::Mat& residual,
                                     const View& view,
                                     const cv::Mat& from_border,
                                     const Region& region,
                                     double rim_share) {
  cv::Mat height;
  const double sign = region.depth < 0 ? -1.0 : 1.0;
  residual(view.box).convertTo(height, CV_32FC1, sign, -sign * region.base);
  const double noise = map.ring_noise[RingAt(map, region.peak)];
  const double blur = std::hypot(map.blur_sigma_cells, view.sigma_cells);
  const auto outer =
      FindNarrowRim({height, from_border, {}, noise, blur, rim_share - kMeanOverCell});
  if (!outer || *outer <= 0) return std::nullopt;
  Rim rim;
  rim.height = *outer - from_border;
  rim.cells = rim.height > 0;
  return rim;
}

// What its border is, by the middle. Blur widens a rim as it does a line, an edge it only moves.
enum class Border { kEdge, kSoftRim, kRim };

Border BorderKind(const View& view, const cv::Mat& from_border, float top, double blur) {
  double outermost = 0;
  cv::minMaxLoc(from_border, &outermost, nullptr);
  const double deepest = 0.5 - outermost;  // cells from the nearest outside
  if (deepest < std::max(kLeastMiddle, blur)) return Border::kEdge;
  const cv::Mat middle = from_border <= 0.5 - kMiddleDepth * deepest;
  const double share = cv::mean(view.height, middle)[0] / static_cast<double>(top);
  if (share < kHollowShare) return Border::kRim;
  const bool plain = deepest >= kPlainMiddle * blur;
  return plain && share < kPlainHollowShare ? Border::kSoftRim : Border::kEdge;
}

bool LiesAtRim(const ContrastMap& map, const Region& region) {
  return std::abs(static_cast<double>(RadiusAt(map, region.peak)) - map.cladding_radius_um) <
         kByRimUm;
}

float BorderOf(const View& view, float top) {
  return std::max(kBorderShare * top, kLeastBorderSigma * view.noise);
}

// Cells of the region as high as its border; no further out than the coarse border's own softness.
cv::Mat BodyIn(const View& view, float threshold, const Region& region) {
  const int reach = std::max(1, cvRound(1.2 * region.smoothing_cells) + 1);
  const cv::Mat around = Widened(view.inside, DiscRows(reach));
  return Flood((view.height >= threshold) & around, view.inside);
}

// A part of a region that has a height of its own: on glass, of a thing that the brighter ferrule
// shows far more of.
struct Part {
  cv::Mat cells;  // CV_8UC1
  float threshold = 0;
};

// What `body` leaves out of the region, well beyond its soft border, and what stands as clear.
//   outside  of DistanceOutside(body)
std::vector<Part> LesserParts(const ContrastMap& map,
                              const View& view,
                              const cv::Mat& body,
                              const cv::Mat& outside,
                              const Region& region) {
  std::vector<Part> parts;
  const cv::Mat rest = view.inside & (outside > kBeyondBorder * region.smoothing_cells + 2.0);
  const double least = std::max(kLeastPartUm2 / (map.um_per_cell * map.um_per_cell),
                                kLeastPartShare * static_cast<double>(region.body_cells));
  cv::Mat taken = body;  // copied once there is more
  for (const MaskPiece& piece : PiecesOf(rest, Touching::kSides)) {
    if (piece.area < least) continue;
    View own = view;
    own.inside = cv::Mat::zeros(rest.size(), CV_8UC1);
    MaskOf(piece).copyTo(own.inside(piece.box));
    const float top = TopOf(map, own);
    if (top < static_cast<float>(kClearSigma) * view.noise) continue;
    const float threshold = BorderOf(view, top);
    const cv::Mat cells = BodyIn(own, threshold, region) & (taken == 0);
    taken = taken | cells;
    parts.push_back({cells, threshold});
  }
  return parts;
}

// What lies around a strong small region, of the other sign, in most directions: in its heights.
std::optional<double> FringeOf(const ContrastMap& map,
                               const cv::Mat& residual,
                               const std::vector<ScaleNoise>& scales,
                               const Region& region) {
  if (static_cast<double>(region.cells.size()) > kSmallUm2 / (map.um_per_cell * map.um_per_cell)) {
    return std::nullopt;
  }
  const auto finest = FinestClear(map, scales, region);
  if (!finest || std::abs(region.depth) < kTellingSigma * finest->noise) return std::nullopt;
  const View view = LookAt(map, residual, *finest, region);
  const float top = TopOf(map, view);
  const cv::Mat body = BodyIn(view, BorderOf(view, top), region);
  if (top <= 0 || cv::countNonZero(body) == 0) return std::nullopt;
  const double blur = std::hypot(map.blur_sigma_cells, view.sigma_cells);
  BySector most = MostBySector(Sectors(body), RightBeside(DistanceTo(body), blur), -view.height);
  std::nth_element(most.begin(), most.begin() + kSectors / 2, most.end());
  return static_cast<double>(std::max(0.0F, most[kSectors / 2]) / top);
}

}  // namespace

void RefineBorder(const ContrastMap& map,
                  const cv::Mat& residual,
                  const std::vector<ScaleNoise>& scales,
                  double rim_share,
                  Region* region) {
  const auto finest = FinestClear(map, scales, *region);
  if (!finest) return;
  View view = LookAt(map, residual, *finest, *region);
  const float top = TopOf(map, view);
  if (top < static_cast<float>(kClearSigma) * view.noise * 0.5F) return;
  const float threshold = BorderOf(view, top);
  const cv::Mat body = BodyIn(view, threshold, *region);
  const double area = cv::countNonZero(body);
  const auto coarse = static_cast<double>(region->body_cells);
  if (cv::countNonZero(body & view.inside) < kLeastOverlap * coarse ||
      area > kMostGrowth * coarse) {
    return;
  }
  const cv::Mat outside = DistanceOutside(body);
  std::vector<cv::Point2f> edge;
  cv::Mat all = body;
  const cv::Mat none = cv::Mat::zeros(body.size(), CV_8UC1);
  const std::vector<Part> parts = LesserParts(map, view, body, outside, *region);
  const cv::Mat from_border = parts.empty() ? DistanceFromBorder(body, outside) : cv::Mat();
  if (!parts.empty()) {
    for (const Part& part : parts) all = all | part.cells;
    AddCrossings(view, body, all, view.height, threshold, &edge);
    for (const Part& part : parts) {
      AddCrossings(view, part.cells, all, view.height, part.threshold, &edge);
    }
  } else if (const auto rim = FindRim(map, view, body, from_border, top, rim_share)) {
    AddCrossings(view, rim->cells, body, rim->height, rim->threshold, &edge);
    AddCrossings(view, body, rim->cells, view.height, threshold, &edge);
    all = body | rim->cells;
    region->rimmed = true;
    region->rim_share = rim->seen_share;
  } else if (const auto narrow =
                 FindRimUnsmoothed(map, residual, view, from_border, *region, rim_share)) {
    AddCrossings(view, narrow->cells, none, narrow->height, narrow->threshold, &edge);
    all = narrow->cells;
    region->rimmed = true;
    view.sigma_cells = 0;
  } else {
    AddCrossings(view, body, none, view.height, threshold, &edge);
    const double blur = std::hypot(map.blur_sigma_cells, view.sigma_cells);
    const Border border = BorderKind(view, from_border, top, blur);
    region->rimmed = border == Border::kRim;
    region->soft_rim = border == Border::kSoftRim && !LiesAtRim(map, *region);
  }
  std::vector<cv::Point> cells;
  cv::findNonZero(all, cells);
  for (cv::Point& cell : cells) cell += view.box.tl();
  region->cells = std::move(cells);
  region->edge = std::move(edge);
  region->body_cells = region->cells.size();
  region->smoothing_cells = view.sigma_cells;
}

double FringeBesideSpecks(const ContrastMap& map,
                          const cv::Mat& residual,
                          const std::vector<ScaleNoise>& scales,
                          const std::vector<Region>& specks,
                          double most_share) {
  std::vector<double> fringes;
  for (const Region& speck : specks) {
    if (const auto fringe = FringeOf(map, residual, scales, speck)) fringes.push_back(*fringe);
  }
  if (fringes.size() < kLeastTelling) return most_share;
  const auto middle = fringes.begin() + static_cast<std::ptrdiff_t>(fringes.size() / 2);
  std::nth_element(fringes.begin(), middle, fringes.end());
  return std::min(most_share, kLeastFringe + kPerFringe * *middle);
}

}  // namespace endgrade
