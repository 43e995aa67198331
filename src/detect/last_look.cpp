#include "detect/last_look.h"

#include "core/wide.h"
#include "detect/pieces.h"
#include "flatten/cell_grid.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <span>

namespace endgrade {
namespace {

constexpr double kCellUm = 1.0;        // of the grid that is looked at
constexpr double kAroundUm = 24.0;     // side of the square whose middle value is the background
constexpr double kAroundCellUm = 3.0;  // of the grid that this is taken on
constexpr double kRingUm = 2.0;
constexpr double kDarkestShare = 0.03;  // of white: no contrast is told of less light

// Where the face itself is not even: the core's edge and the rim with the adhesive around it.
constexpr double kBesideCoreUm = 3.5;
constexpr double kNoCoreUm = 7.0;
constexpr double kInsideRimUm = 4.0;
constexpr double kOutsideRimUm = 8.0;
constexpr double kRimBlurs = 5.0;  // sigmas, or so far outside: out of focus it reaches further
// Where the picture of the face ends, the middle value around a cell is that of one side only.
constexpr double kInsideSearchUm = 4.0;
constexpr double kBesideHiddenUm = 3.0;

// What is plain, at one smoothing: a speck of 2.5 um keeps most of its height under the first. On
// 900 faces of tuning sets that one, alone, without any other search, passes one in four of those
// that fail, and outlines nothing on the 221 clean ones. A stain is plain to the eye at less.
struct Look {
  double smoothing_um;  // sigma
  float sigma;          // of the noise
  float share;          // of the light that is there
  double least_um2;
  double least_filled;  // of the square over its diagonal: a scratch in noise is no stain
  double least_noise;   // of white: rounding to whole grey levels
};
constexpr Look kSpecks{0.7, 8.0F, 0.10F, 5.0, 0.0, 0.3 / 255.0};
constexpr Look kStains{2.5, 10.0F, 0.06F, 60.0, 0.2, 0.1 / 255.0};
constexpr float kExtent = 0.7F;  // of what is plain: how far it reaches
constexpr int kLeastCells = 9;   // of the map: what is smaller may be a hot pixel's
// What is left around an outlined mark: its soft border, or the end of a line that fades.
constexpr float kBorderUm = 2.0F;
constexpr float kGroundUm = 3.0F;  // from an outlined mark: nearer, nothing tells the clean face
constexpr double kEndOfLineUm = 10.0;
// What touches an outlined mark must reach this far from it: films fade, too.
constexpr double kTouchesUm = 3.5;
constexpr double kOwnReachUm = 15.0;

enum Material : std::uint8_t { kNone, kCore, kGlass, kFerrule };

// The map on cells of about kCellUm.
struct Plain {
  int step = 1;  // map cells a cell, along either side
  double um = 1.0;
  cv::Point2d centre;  // of the glass
  cv::Mat level;       // CV_32FC1
  cv::Mat ring;        // CV_16UC1: index of the cell's ring
  cv::Mat material;    // CV_8UC1: Material
  cv::Mat held;        // CV_8UC1: 255 where regions are
  cv::Mat lines;       // CV_8UC1: 255 where lines are
  cv::Mat ground;      // CV_8UC1: 255 where a cell tells what the clean face is like
  cv::Mat border;      // CV_8UC1: 255 where what is seen may be what a region left
  cv::Mat background;  // CV_32FC1
  cv::Mat height;      // CV_32FC1: level - background; 0 where nothing is looked at
  std::array<float, 4> noise{};
  Look look = kSpecks;

  [[nodiscard]] cv::Point2f MapCell(cv::Point2d p) const {
    return cv::Point2d((p.x + 0.5) * step - 0.5, (p.y + 0.5) * step - 0.5);
  }
};

// The face's materials by distance from its centre.
struct Materials {
  double core_um = 0;  // up to here it is the core; 0: nowhere
  double glass_from_um = 0;
  double glass_to_um = 0;
  double ferrule_from_um = 0;
  double ferrule_to_um = 0;

  explicit Materials(const ContrastMap& map) {
    const double core = map.core_radius_um;
    const double outside = kRimBlurs * map.blur_sigma_cells * map.um_per_cell;
    if (core > kLargestSingleModeUm) core_um = core - kBesideCoreUm;
    glass_from_um = core > 0 ? core + kBesideCoreUm : kNoCoreUm;
    glass_to_um = map.cladding_radius_um - kInsideRimUm;
    ferrule_from_um = map.cladding_radius_um + std::max(kOutsideRimUm, outside);
    ferrule_to_um = map.outer_um - kInsideSearchUm;
  }
  [[nodiscard]] Material At(double radius_um) const {
    if (radius_um > ferrule_from_um) return radius_um < ferrule_to_um ? kFerrule : kNone;
    if (radius_um > glass_to_um) return kNone;
    if (radius_um < core_um) return kCore;
    return radius_um > glass_from_um ? kGlass : kNone;
  }
};

// Distance of each cell from those that are marked, um; far where none is.
cv::Mat DistanceFrom(const cv::Mat& marked, double um) {
  constexpr float kFarUm = 1e6F;
  if (cv::countNonZero(marked) == 0) return {marked.size(), CV_32FC1, cv::Scalar(kFarUm)};
  cv::Mat distance;
  cv::distanceTransform(marked == 0, distance, cv::DIST_L2, cv::DIST_MASK_3);
  return distance * um;
}

void LayMaterials(const ContrastMap& map, Plain* plain) {
  const cv::Size size = plain->level.size();
  plain->ring = cv::Mat(size, CV_16UC1);
  plain->material = cv::Mat(size, CV_8UC1);
  const Materials materials(map);
  const int middle = plain->step / 2;
  for (int y = 0; y < size.height; ++y) {
    const auto* radius = map.radius_um.ptr<float>(y * plain->step + middle) + middle;
    auto* material = plain->material.ptr<std::uint8_t>(y);
    auto* ring = plain->ring.ptr<std::uint16_t>(y);
    for (int x = 0; x < size.width; ++x, radius += plain->step) {
      const auto radius_um = static_cast<double>(*radius);
      material[x] = materials.At(radius_um);
      ring[x] = static_cast<std::uint16_t>(radius_um / kRingUm);
    }
  }
  if (map.valid.empty()) return;
  cv::Mat valid;
  cv::resize(map.valid, valid, size, 0, 0, cv::INTER_NEAREST);
  plain->material.setTo(kNone, DistanceFrom(valid == 0, plain->um) <= kBesideHiddenUm);
}

// What lies within a distance of a cell, as half widths by row.
std::vector<int> DiscOfUm(float reach_um, double um) {
  const int reach = static_cast<int>(std::ceil(static_cast<double>(reach_um) / um)) + 1;
  cv::Mat middle = cv::Mat::zeros(2 * reach + 1, 2 * reach + 1, CV_8UC1);
  middle.at<std::uint8_t>(reach, reach) = 255;
  const cv::Mat within = DistanceFrom(middle, um) <= static_cast<double>(reach_um);
  std::vector<int> half;
  for (int y = 0; y < within.rows; ++y)
    half.push_back((cv::countNonZero(within.row(y)) + 1) / 2 - 1);
  return half;
}

void LayRegions(const std::vector<Region>& regions, Plain* plain) {
  plain->held = cv::Mat::zeros(plain->level.size(), CV_8UC1);
  plain->lines = plain->held.clone();
  const cv::Rect whole(cv::Point(), plain->held.size());
  for (const Region& region : regions) {
    for (const cv::Point& cell : region.cells) {
      const cv::Point p(cell.x / plain->step, cell.y / plain->step);
      if (!whole.contains(p)) continue;
      plain->held.at<std::uint8_t>(p) = 255;
      if (region.is_line) plain->lines.at<std::uint8_t>(p) = 255;
    }
  }
  plain->border = Widened(plain->held, DiscOfUm(kBorderUm, plain->um));
  plain->ground = Widened(plain->held, DiscOfUm(kGroundUm, plain->um)) == 0;
  plain->ground.setTo(0, plain->material == kNone);
}

// Of the way around.
constexpr size_t kEighths = 8;

size_t EighthOf(cv::Point2d from_centre) {
  const size_t half = from_centre.y < 0 ? 4 : 0;
  const size_t quarter = from_centre.x < 0 ? 2 : 0;
  const size_t nearer_x = std::abs(from_centre.x) > std::abs(from_centre.y) ? 1 : 0;
  return half + quarter + nearer_x;
}

// Mean of the middle half.
float MiddleMean(std::vector<float> values) {
  std::sort(values.begin(), values.end());
  const size_t cut = values.size() / 4;
  float sum = 0.0F;
  for (size_t i = cut; i < values.size() - cut; ++i) sum += values[i];
  return sum / static_cast<float>(values.size() - 2 * cut);
}

// Levels of the ground, of every second cell, by ring and eighth.
struct RingSamples {
  std::vector<float> values;
  std::vector<size_t> first;  // by ring and eighth: where its values begin; one more

  [[nodiscard]] size_t Rings() const { return first.size() / kEighths; }
  [[nodiscard]] std::span<const float> Between(size_t from, size_t to) const {
    return std::span(values).subspan(first[from], first[to] - first[from]);
  }
  [[nodiscard]] std::span<const float> Ring(size_t ring) const {
    return Between(ring * kEighths, (ring + 1) * kEighths);
  }
  [[nodiscard]] std::span<const float> Eighth(size_t ring, size_t eighth) const {
    return Between(ring * kEighths + eighth, ring * kEighths + eighth + 1);
  }
};

RingSamples SampleRings(const Plain& plain) {
  struct Sample {
    size_t part;  // ring and eighth
    float level;
  };
  std::vector<Sample> all;
  all.reserve(plain.level.total() / 2 + 1);
  size_t rings_seen = 0;
  for (int y = 0; y < plain.level.rows; ++y) {
    const auto* ground = plain.ground.ptr<std::uint8_t>(y);
    const auto* rings = plain.ring.ptr<std::uint16_t>(y);
    const auto* level = plain.level.ptr<float>(y);
    for (int x = y % 2; x < plain.level.cols; x += 2) {
      if (ground[x] == 0) continue;
      const size_t ring = rings[x];
      rings_seen = std::max(rings_seen, ring + 1);
      all.push_back({ring * kEighths + EighthOf(cv::Point2d(x, y) - plain.centre), level[x]});
    }
  }
  // Counted first, each part's values go where they belong.
  RingSamples samples;
  samples.first.assign(rings_seen * kEighths + 1, 0);
  for (const Sample& sample : all) ++samples.first[sample.part + 1];
  std::partial_sum(samples.first.begin(), samples.first.end(), samples.first.begin());
  samples.values.resize(all.size());
  std::vector<size_t> next = samples.first;
  for (const Sample& sample : all) samples.values[next[sample.part]++] = sample.level;
  return samples;
}

// Where only a part of a ring is in view, such as two ends of it, one in the shade and the other
// not, the median is the one's level or the other's, by chance, and the next ring's may be the
// other; there each eighth counts by itself.
std::vector<float> RingLevels(const Plain& plain) {
  constexpr float kShade = 0.08F;  // of the level: between one eighth and another
  const RingSamples samples = SampleRings(plain);
  std::vector<float> levels(samples.Rings(), 0.0F);
  for (size_t ring = 0; ring < levels.size(); ++ring) {
    const std::span<const float> all = samples.Ring(ring);
    if (all.empty()) continue;
    levels[ring] = MedianOf(all);
    size_t least = all.size();
    size_t most = 0;
    for (size_t i = 0; i < kEighths; ++i) {
      least = std::min(least, samples.Eighth(ring, i).size());
      most = std::max(most, samples.Eighth(ring, i).size());
    }
    if (4 * least >= 3 * most) continue;
    std::vector<float> medians;
    for (size_t i = 0; i < kEighths; ++i) {
      const std::span<const float> eighth = samples.Eighth(ring, i);
      if (!eighth.empty()) medians.push_back(MedianOf(eighth));
    }
    const auto [low, high] = std::minmax_element(medians.begin(), medians.end());
    if (*high - *low > kShade * levels[ring]) levels[ring] = MiddleMean(std::move(medians));
  }
  return levels;
}

// The middle value around each cell, of what differs from its ring. Where there is no ground to be
// seen, the mean of what there is around counts: the light may well be of one side.
cv::Mat MiddleAround(const Plain& plain, const cv::Mat& off_ring, const cv::Mat& ground) {
  const double shrink = plain.um / kAroundCellUm;
  const int side = 2 * static_cast<int>(std::lround(0.5 * kAroundUm / kAroundCellUm)) + 1;
  cv::Mat share;
  cv::Mat sum;
  cv::resize(ground, share, cv::Size(), shrink, shrink, cv::INTER_AREA);
  cv::resize(off_ring, sum, cv::Size(), shrink, shrink, cv::INTER_AREA);
  cv::Mat wide_share;
  cv::Mat wide_sum;
  cv::blur(share, wide_share, {side, side});
  cv::blur(sum, wide_sum, {side, side});
  cv::Mat coarse = wide_sum / cv::max(wide_share, 1e-3);
  cv::Mat(sum / cv::max(share, 1e-3)).copyTo(coarse, share > 0.5);
  double low = 0;
  double high = 0;
  cv::minMaxLoc(coarse, &low, &high);
  // In 8 bits a sliding median is quick; what a step of them hides is far below what is plain.
  const double span = std::max({1.0, high, -low});
  cv::Mat bytes;
  coarse.convertTo(bytes, CV_8U, 127.0 / span, 128.0);
  cv::medianBlur(bytes, bytes, side);
  bytes.convertTo(coarse, CV_32F, span / 127.0, -128.0 * span / 127.0);
  cv::Mat around;
  cv::resize(coarse, around, off_ring.size(), 0, 0, cv::INTER_LINEAR);
  return around;
}

void LayBackground(Plain* plain) {
  const std::vector<float> levels = RingLevels(*plain);
  const cv::Size size = plain->level.size();
  cv::Mat ring_level = cv::Mat::zeros(size, CV_32FC1);
  cv::Mat off_ring = cv::Mat::zeros(size, CV_32FC1);  // of ground; 0 elsewhere
  cv::Mat ground = cv::Mat::zeros(size, CV_32FC1);    // 1 or 0
  for (int y = 0; y < size.height; ++y) {
    const auto* material = plain->material.ptr<std::uint8_t>(y);
    const auto* is_ground = plain->ground.ptr<std::uint8_t>(y);
    const auto* rings = plain->ring.ptr<std::uint16_t>(y);
    const auto* level = plain->level.ptr<float>(y);
    auto* of_ring = ring_level.ptr<float>(y);
    auto* off = off_ring.ptr<float>(y);
    auto* share = ground.ptr<float>(y);
    for (int x = 0; x < size.width; ++x) {
      if (material[x] == kNone || rings[x] >= levels.size()) continue;
      of_ring[x] = levels[rings[x]];
      if (is_ground[x] == 0) continue;
      off[x] = level[x] - of_ring[x];
      share[x] = 1.0F;
    }
  }
  plain->background = ring_level + MiddleAround(*plain, off_ring, ground);
  plain->height = plain->level - plain->background;
  plain->height.setTo(0.0F, plain->material == kNone);
}

void MeasureNoise(double white, Plain* plain) {
  std::array<std::vector<float>, 4> heights;
  for (auto& of_material : heights) of_material.reserve(plain->height.total());
  for (int y = 0; y < plain->height.rows; ++y) {
    const auto* ground = plain->ground.ptr<std::uint8_t>(y);
    const auto* material = plain->material.ptr<std::uint8_t>(y);
    const auto* height = plain->height.ptr<float>(y);
    for (int x = 0; x < plain->height.cols; ++x) {
      if (ground[x] != 0) heights[material[x]].push_back(std::abs(height[x]));
    }
  }
  for (size_t i = 0; i < heights.size(); ++i) {
    const float spread = heights[i].empty() ? 0.0F : 1.4826F * MedianOf(heights[i]);
    plain->noise[i] = spread + static_cast<float>(plain->look.least_noise * white);
  }
}

Plain LayPlain(const ContrastMap& map) {
  Plain plain;
  plain.step = std::max(1, static_cast<int>(std::lround(kCellUm / map.um_per_cell)));
  plain.um = plain.step * map.um_per_cell;
  plain.centre = (map.centre_cell + cv::Point2d(0.5, 0.5)) / plain.step - cv::Point2d(0.5, 0.5);
  const cv::Size size(map.level.cols / plain.step, map.level.rows / plain.step);
  cv::Mat level;
  cv::medianBlur(map.level, level, 3);  // single hot pixels
  cv::resize(level(cv::Rect(0, 0, size.width * plain.step, size.height * plain.step)),
             plain.level,
             size,
             0,
             0,
             cv::INTER_AREA);
  cv::GaussianBlur(plain.level, plain.level, cv::Size(), kSpecks.smoothing_um / plain.um);
  return plain;
}

// What a cell needs to be plain is never less than its share of the light. Whether any has that,
// in a row.
ENDGRADE_WIDE bool AnyHasShare(const float* height,
                               const float* background,
                               const std::uint8_t* material,
                               const std::uint8_t* border,
                               float share,
                               float darkest,
                               int count) {
  int any = 0;
  for (int x = 0; x < count; ++x) {
    const float needed = share * std::max(darkest, background[x]);
    const bool open = (material[x] != kNone) & (border[x] == 0);
    any |= open & (std::abs(height[x]) >= needed) ? 1 : 0;
  }
  return any != 0;
}

float DarkestOf(double white) { return static_cast<float>(kDarkestShare * white); }

// The rows that may hold something plain.
std::vector<int> RowsWithShare(const Plain& plain, double white) {
  std::vector<int> rows;
  for (int y = 0; y < plain.height.rows; ++y) {
    if (AnyHasShare(plain.height.ptr<float>(y),
                    plain.background.ptr<float>(y),
                    plain.material.ptr<std::uint8_t>(y),
                    plain.border.ptr<std::uint8_t>(y),
                    plain.look.share,
                    DarkestOf(white),
                    plain.height.cols)) {
      rows.push_back(y);
    }
  }
  return rows;
}

// How plain the cells of a row are, with their sign: 1 and more is. Those that are not looked at
// are left alone. Returns the most.
float PlainnessOfRow(const Plain& plain, double white, int y, float* out) {
  const float darkest = DarkestOf(white);
  const auto* material = plain.material.ptr<std::uint8_t>(y);
  const auto* border = plain.border.ptr<std::uint8_t>(y);
  const auto* height = plain.height.ptr<float>(y);
  const auto* background = plain.background.ptr<float>(y);
  float most = 0.0F;
  for (int x = 0; x < plain.height.cols; ++x) {
    if (material[x] == kNone || border[x] != 0) continue;
    const float needed = std::max(plain.look.sigma * plain.noise[material[x]],
                                  plain.look.share * std::max(darkest, background[x]));
    out[x] = height[x] / needed;
    most = std::max(most, std::abs(out[x]));
  }
  return most;
}

bool AnyIsPlain(const Plain& plain, double white, const std::vector<int>& rows) {
  std::vector<float> plainness(static_cast<size_t>(plain.height.cols));
  return std::any_of(rows.begin(), rows.end(), [&](int y) {
    return PlainnessOfRow(plain, white, y, plainness.data()) >= 1.0F;
  });
}

cv::Mat Plainness(const Plain& plain, double white) {
  cv::Mat plainness = cv::Mat::zeros(plain.height.size(), CV_32FC1);
  for (int y = 0; y < plainness.rows; ++y) {
    PlainnessOfRow(plain, white, y, plainness.ptr<float>(y));
  }
  return plainness;
}

// The cells of at least half the peak's height around it, in map cells, and where that border runs.
//   taken   CV_8UC1: cells of other regions; updated
Region RegionAround(const Plain& plain, cv::Point peak, float sign, cv::Mat* taken) {
  static const std::array<cv::Point, 4> kSides = {
      cv::Point(1, 0), cv::Point(-1, 0), cv::Point(0, 1), cv::Point(0, -1)};
  const float top = sign * plain.height.at<float>(peak);
  const cv::Rect whole(cv::Point(), plain.height.size());
  Region region;
  std::vector<cv::Point> cells = {peak};
  taken->at<std::uint8_t>(peak) = 255;
  for (size_t next = 0; next < cells.size(); ++next) {
    const cv::Point cell = cells[next];
    const float here = sign * plain.height.at<float>(cell);
    for (const cv::Point& side : kSides) {
      const cv::Point beside = cell + side;
      float part = 0.5F;
      if (whole.contains(beside)) {
        const float there = sign * plain.height.at<float>(beside);
        const bool above = there >= 0.5F * top && plain.border.at<std::uint8_t>(beside) == 0;
        if (above && !taken->at<std::uint8_t>(beside)) {
          taken->at<std::uint8_t>(beside) = 255;
          cells.push_back(beside);
        }
        if (above) continue;
        part = std::clamp((here - 0.5F * top) / std::max(1e-6F, here - there), 0.0F, 1.0F);
      }
      region.edge.push_back(
          plain.MapCell(cv::Point2d(cell) + static_cast<double>(part) * cv::Point2d(side)));
    }
    for (int y = 0; y < plain.step; ++y) {
      for (int x = 0; x < plain.step; ++x) {
        region.cells.emplace_back(cell.x * plain.step + x, cell.y * plain.step + y);
      }
    }
  }
  region.body_cells = region.cells.size();
  region.peak = plain.MapCell(peak);
  region.depth = static_cast<double>(sign * top);
  region.snr = static_cast<double>(top / plain.noise[plain.material.at<std::uint8_t>(peak)]);
  region.smoothing_cells =
      std::hypot(plain.look.smoothing_um, 0.3 * plain.um) / plain.um * plain.step;
  return region;
}

// How far each cell is from what regions hold, um: CV_32FC1. Worked out once it is asked for.
class Clearance {
 public:
  explicit Clearance(const Plain& plain) : plain_(plain) {}
  const cv::Mat& OfRegions() { return Of(plain_.held, &of_regions_); }
  const cv::Mat& OfLines() { return Of(plain_.lines, &of_lines_); }
  // Other regions are laid.
  void Forget() { of_regions_ = of_lines_ = cv::Mat(); }

 private:
  const cv::Mat& Of(const cv::Mat& marked, cv::Mat* distance) {
    if (distance->empty()) *distance = DistanceFrom(marked, plain_.um);
    return *distance;
  }

  const Plain& plain_;
  cv::Mat of_regions_;
  cv::Mat of_lines_;
};

void AddPlain(const Plain& plain,
              const cv::Mat& plainness,
              float sign,
              Clearance* clear,
              std::vector<Region>* found) {
  cv::Mat taken = cv::Mat::zeros(plainness.size(), CV_8UC1);
  const double cells = std::max(plain.look.least_um2 / (plain.um * plain.um),
                                static_cast<double>(kLeastCells) / (plain.step * plain.step));
  const cv::Mat reached = plainness * sign >= static_cast<double>(kExtent);
  for (const MaskPiece& piece : PiecesOf(reached, Touching::kSidesAndCorners)) {
    if (piece.area < cells) continue;
    const cv::Rect& box = piece.box;
    const double filled =
        static_cast<double>(piece.area) / (box.width * box.width + box.height * box.height);
    if (filled < plain.look.least_filled) continue;
    const cv::Mat own = MaskOf(piece);
    double top = 0;
    double nearest = 0;
    double farthest = 0;
    double clear_of_line = 0;
    cv::Point peak;
    cv::minMaxLoc(plainness(box) * sign, nullptr, &top, nullptr, &peak, own);
    if (top < 1) continue;
    cv::minMaxLoc(clear->OfLines()(box), nullptr, &clear_of_line, nullptr, nullptr, own);
    if (clear_of_line < kEndOfLineUm) continue;
    cv::minMaxLoc(clear->OfRegions()(box), &nearest, &farthest, nullptr, nullptr, own);
    if (nearest < kTouchesUm && farthest < kOwnReachUm) continue;
    peak += box.tl();
    if (taken.at<std::uint8_t>(peak)) continue;
    Region region = RegionAround(plain, peak, sign, &taken);
    if (!region.edge.empty()) found->push_back(std::move(region));
  }
}

std::vector<Region> Joined(std::vector<Region> regions, const std::vector<Region>& more) {
  regions.insert(regions.end(), more.begin(), more.end());
  return regions;
}

// What is plain by `plain.look`, both darker and brighter.
void AddAllPlain(const ContrastMap& map,
                 Plain* plain,
                 Clearance* clear,
                 std::vector<Region>* found) {
  const std::vector<int> rows = RowsWithShare(*plain, map.white_level);
  if (rows.empty()) return;
  MeasureNoise(map.white_level, plain);
  if (!AnyIsPlain(*plain, map.white_level, rows)) return;
  const cv::Mat plainness = Plainness(*plain, map.white_level);
  for (const float sign : {-1.0F, 1.0F}) AddPlain(*plain, plainness, sign, clear, found);
}

// The heights of the ground alone, further smoothed: an outlined mark does not reach beyond itself.
void Smooth(const Look& look, Plain* plain) {
  for (int y = 0; y < plain->height.rows; ++y) {
    const auto* ground = plain->ground.ptr<std::uint8_t>(y);
    auto* height = plain->height.ptr<float>(y);
    for (int x = 0; x < plain->height.cols; ++x) {
      if (ground[x] == 0) height[x] = 0.0F;
    }
  }
  const double more_um = std::sqrt(look.smoothing_um * look.smoothing_um -
                                   plain->look.smoothing_um * plain->look.smoothing_um);
  cv::GaussianBlur(plain->height, plain->height, cv::Size(), more_um / plain->um);
  plain->look = look;
}

}  // namespace

std::vector<Region> LookOnceMore(const ContrastMap& map, const std::vector<Region>& regions) {
  Plain plain = LayPlain(map);
  std::vector<Region> found;
  if (plain.level.empty()) return found;
  LayMaterials(map, &plain);
  LayRegions(regions, &plain);
  LayBackground(&plain);
  Clearance clear(plain);
  AddAllPlain(map, &plain, &clear, &found);
  if (!found.empty()) {
    LayRegions(Joined(regions, found), &plain);
    clear.Forget();
  }
  Smooth(kStains, &plain);
  AddAllPlain(map, &plain, &clear, &found);
  return found;
}

}  // namespace endgrade
