#include "detect/speck_search.h"

#include "core/wide.h"
#include "detect/blocks.h"
#include "detect/groups.h"
#include "detect/region_growing.h"
#include "detect/response.h"
#include "detect/runs.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <optional>

namespace endgrade {
namespace {

// Neighbouring scales differ by this factor; a disc between two of them loses under 4 % of its
// signal-to-noise. Matched Gaussian for a disc of diameter d: sigma about d / 3.
constexpr double kScaleStep = 1.5;
constexpr double kDiscPerSigma = 3.0;
constexpr double kFinestSigma = 0.7;

constexpr size_t kMostPeaks = 20000;

struct Peak {
  cv::Point cell;
  float snr;
};

// Peaks of a row within [begin, end).
void FindPeaksOf(const Response& response,
                 float threshold,
                 int y,
                 int begin,
                 int end,
                 std::vector<Peak>* peaks) {
  const auto* row = response.band.ptr<float>(y);
  const auto* above = response.band.ptr<float>(y - 1);
  const auto* below = response.band.ptr<float>(y + 1);
  const auto* radius = response.radius_um.ptr<float>(y);
  for (int x = begin; x < end; ++x) {
    const float value = std::abs(row[x]);
    const float noise = response.noise.At(radius[x]);
    if (value < threshold * noise) continue;
    const float sign = row[x] < 0 ? -1.0F : 1.0F;
    const bool highest = value >= sign * row[x - 1] && value > sign * row[x + 1] &&
                         value >= sign * above[x - 1] && value >= sign * above[x] &&
                         value >= sign * above[x + 1] && value > sign * below[x - 1] &&
                         value > sign * below[x] && value > sign * below[x + 1];
    if (highest) peaks->push_back({{x, y}, value / noise});
  }
}

// The furthest from zero of a whole number of blocks.
ENDGRADE_WIDE float MostOf(const float* values, int count) {
  Eight most{};
  for (int i = 0; i < count; i += kCellsAtOnce) {
    const Eight some = EightAt(values + i).value;
    const Eight away = some < 0 ? -some : some;
    most = away > most ? away : most;
  }
  float greatest = most[0];
  for (int i = 1; i < kCellsAtOnce; ++i) greatest = std::max(greatest, most[i]);
  return greatest;
}

std::vector<Peak> FindPeaks(const ContrastMap& map, const Response& response, float threshold) {
  constexpr int kBlocks = 8;
  constexpr int kStretch = kBlocks * kCellsAtOnce;
  std::vector<Peak> peaks;
  const cv::Mat& band = response.band;
  // A block, or a stretch of them, that stays below what is quiet anywhere in it holds no peak.
  const auto quiet_within = [&](int cells) {
    return response.noise.LeastWithin(1.5 * cells * response.reduction * map.um_per_cell);
  };
  const RingNoise quiet_block = quiet_within(kCellsAtOnce);
  const RingNoise quiet_stretch = quiet_within(kStretch);
  for (int y = 1; y + 1 < band.rows; ++y) {
    const auto* row = band.ptr<float>(y);
    const auto* radius = response.radius_um.ptr<float>(y);
    const int last = band.cols - 1;
    for (int begin = 1; begin < last; begin += kStretch) {
      const int end = std::min(begin + kStretch, last);
      if (end == begin + kStretch &&
          MostOf(row + begin, kStretch) < threshold * quiet_stretch.At(radius[begin])) {
        continue;
      }
      for (int x = begin; x < end; x += kCellsAtOnce) {
        const bool whole = x + kCellsAtOnce <= end;
        if (whole && !AnyReaches(row + x, threshold * quiet_block.At(radius[x]))) continue;
        FindPeaksOf(response, threshold, y, x, std::min(x + kCellsAtOnce, end), &peaks);
      }
    }
  }
  std::sort(peaks.begin(), peaks.end(), [](const Peak& a, const Peak& b) {
    if (a.snr != b.snr) return a.snr > b.snr;
    return a.cell.y != b.cell.y ? a.cell.y < b.cell.y : a.cell.x < b.cell.x;
  });
  if (peaks.size() > kMostPeaks) peaks.resize(kMostPeaks);
  return peaks;
}

// Replaces what a region shows, with its soft edge, by the clean face.
void TakeOut(const std::vector<Region>& regions, double soft_cells, cv::Mat* residual) {
  cv::Rect shown;
  for (const Region& region : regions) shown |= cv::boundingRect(region.cells);
  const int reach = std::max(1, static_cast<int>(std::ceil(soft_cells)));
  const cv::Point spread(reach, reach);
  const cv::Rect around =
      cv::Rect(shown.tl() - spread, shown.br() + spread) & cv::Rect(cv::Point(), residual->size());
  cv::Mat mask = cv::Mat::zeros(around.size(), CV_8UC1);
  for (const Region& region : regions) {
    for (const cv::Point& cell : region.cells) mask.at<uchar>(cell - around.tl()) = 255;
  }
  (*residual)(around).setTo(0.0F, Widened(mask, DiscRows(reach)));
}

// A rim is of the other sign than what it surrounds, and less of it. Faint films are left out: what
// lies beside them may be anything.
constexpr double kMostRimShare = 0.5;       // of the depth
constexpr double kLeastRimmedDepth = 0.15;  // of the glass

bool MayBeRimOf(const ContrastMap& map, const Region& rim, const Region& body) {
  return rim.depth * body.depth < 0 && std::abs(rim.depth) < kMostRimShare * std::abs(body.depth) &&
         rim.cells.size() < body.cells.size() &&
         std::abs(body.depth) > kLeastRimmedDepth * map.glass_level;
}

// Hands the owner's index, and how far away it is, of each cell around one that has an owner to
// `take`. `owner`: index + 1 by cell, 0 for none.
template <typename Take>
void ForEachHeld(const cv::Mat& owner, cv::Point cell, int reach, Take take) {
  const int left = std::max(0, cell.x - reach);
  const int right = std::min(owner.cols - 1, cell.x + reach);
  const int bottom = std::min(owner.rows - 1, cell.y + reach);
  for (int y = std::max(0, cell.y - reach); y <= bottom; ++y) {
    const auto* row = owner.ptr<int>(y);
    int any = 0;
    for (int x = left; x <= right; ++x) any |= row[x];
    if (any == 0) continue;
    for (int x = left; x <= right; ++x) {
      if (row[x] == 0) continue;
      take(static_cast<size_t>(row[x] - 1), std::max(std::abs(x - cell.x), std::abs(y - cell.y)));
    }
  }
}

void Absorb(Region&& from, Region* into) {
  into->cells.insert(into->cells.end(), from.cells.begin(), from.cells.end());
  into->edge.insert(into->edge.end(), from.edge.begin(), from.edge.end());
  into->no_scratch = into->no_scratch || from.no_scratch;
  into->in_focus = into->in_focus || from.in_focus;
  into->rimmed = into->rimmed || from.rimmed || from.depth * into->depth < 0;
  into->smoothing_cells = std::max(into->smoothing_cells, from.smoothing_cells);
  into->snr = std::max(into->snr, from.snr);
  if (std::abs(from.depth) > std::abs(into->depth)) {
    into->depth = from.depth;
    into->peak = from.peak;
  }
}

}  // namespace

std::vector<Region> SearchSpecks(const ContrastMap& map,
                                 const DetectOptions& options,
                                 cv::Mat* residual,
                                 std::vector<ScaleNoise>* scales) {
  std::vector<Region> regions;
  const double finest = std::max(kFinestSigma, 0.9 * map.blur_sigma_cells);
  const double coarsest =
      std::max(finest, options.largest_scale_um / kDiscPerSigma / map.um_per_cell);
  Reduced kept;
  for (double sigma = finest; sigma <= coarsest * 1.01; sigma *= kScaleStep) {
    const Response response = RespondAtScale(map, *residual, sigma, &kept);
    scales->push_back({sigma, response.noise.sigmas()});
    const std::vector<Peak> peaks =
        FindPeaks(map, response, static_cast<float>(options.threshold_sigma));
    if (peaks.empty()) continue;
    cv::Mat taken = cv::Mat::zeros(response.band.size(), CV_8UC1);
    std::vector<Region> found;
    for (const Peak& peak : peaks) {
      if (auto region = GrowRegion(map, response, peak.cell, &taken)) {
        found.push_back(*std::move(region));
      }
    }
    if (found.empty()) continue;
    TakeOut(found, 1.5 * std::hypot(sigma, map.blur_sigma_cells), residual);
    kept = {};
    for (Region& region : found) regions.push_back(std::move(region));
  }
  return regions;
}

std::vector<Region> MergeSpecks(const ContrastMap& map,
                                std::vector<Region> regions,
                                double fringe_share) {
  // Strongest first, so that a halo meets the feature it belongs to.
  std::stable_sort(regions.begin(), regions.end(), [](const Region& a, const Region& b) {
    return std::abs(a.depth) > std::abs(b.depth);
  });
  const int reach = std::max(1, static_cast<int>(std::lround(map.blur_sigma_cells)));
  const int halo_reach = reach + 3;
  cv::Mat owner = cv::Mat::zeros(map.level.size(), CV_32SC1);  // region index + 1
  Groups groups(regions.size());
  std::vector<bool> dropped(regions.size(), false);
  for (size_t i = 0; i < regions.size(); ++i) {
    std::vector<size_t> touched;
    std::vector<size_t> rim_of;
    size_t near_stronger = 0;
    std::optional<cv::Point> last;
    bool beside = false;
    // Its border is enough: a region can only touch another along it.
    for (const cv::Point2f& crossing : regions[i].edge) {
      const cv::Point cell(cvRound(crossing.x), cvRound(crossing.y));
      if (cell != last) {  // neighbours along the border often share a cell
        last = cell;
        beside = false;
        ForEachHeld(owner, cell, halo_reach, [&](size_t other, int apart) {
          // What a rim leaves beside it may have the sign of its middle.
          const bool fringe = regions[other].depth * regions[i].depth < 0 || regions[other].rimmed;
          beside = beside || (fringe && std::abs(regions[i].depth) <
                                            fringe_share * std::abs(regions[other].depth));
          if (MayBeRimOf(map, regions[i], regions[other]) &&
              (rim_of.empty() || rim_of.back() != other)) {
            rim_of.push_back(other);
          }
          if (apart <= reach && (touched.empty() || touched.back() != other)) {
            touched.push_back(other);
          }
        });
      }
      near_stronger += beside ? 1 : 0;
    }
    if (2 * near_stronger > regions[i].edge.size()) {
      dropped[i] = true;
      continue;
    }
    for (const cv::Point& cell : regions[i].cells) {
      owner.at<int>(cell) = static_cast<int>(i) + 1;
    }
    for (const size_t other : touched) groups.Join(i, other);
    // What lies around a thing, of the other sign, and is more than a camera's fringe is its rim,
    // however the blur between the two parts them.
    for (const size_t other : rim_of) groups.Join(i, other);
  }
  std::vector<Region> merged;
  std::vector<int> slot(regions.size(), -1);
  for (size_t i = 0; i < regions.size(); ++i) {
    if (dropped[i]) continue;
    const size_t root = groups.Find(i);
    if (slot[root] < 0) {
      slot[root] = static_cast<int>(merged.size());
      merged.push_back(std::move(regions[i]));
    } else {
      Absorb(std::move(regions[i]), &merged[static_cast<size_t>(slot[root])]);
    }
  }
  return merged;
}

}  // namespace endgrade
