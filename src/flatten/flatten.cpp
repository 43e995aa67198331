#include "endgrade/flatten.h"

#include "core/wide.h"
#include "flatten/banding.h"
#include "flatten/cell_grid.h"
#include "flatten/clean_face.h"
#include "flatten/fringes.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

// Room around the zones, so that a particle across the outer border is measured whole; as wide as
// the largest size that any published rule speaks of (30 um), halved.
constexpr float kLeastNoise = 0.25F;  // luma units: rounding to whole grey levels
constexpr size_t kLeastRingCells = 40;
constexpr int kMostFringes = 3;

// Rings of the face within which noise is taken as one: narrow enough to follow the core's light
// and the rim, wide enough to count.
std::vector<double> NoiseRings(const FaceRings& rings) {
  const double rim_um = rings.cladding_radius_um;
  std::vector<double> edges = {0.0};
  const auto add = [&](double radius) {
    if (radius > edges.back() + 1.0) edges.push_back(radius);
  };
  if (rings.core_radius_um > 0) {
    add(rings.core_from_um);
    add(rings.core_to_um);
  }
  for (double r = 12.0; r < rim_um - 6.0; r += 8.0) add(r);
  add(rim_um - 5.0);
  for (double r = rim_um - 4.0; r <= rim_um + 6.0; r += 1.0) {
    edges.push_back(r);
  }
  for (double r = rim_um + 12.0; r < rings.outer_um; r += 10.0) add(r);
  edges.push_back(std::max(rings.outer_um, edges.back() + 1.0) + 1.0);
  return edges;
}

void FillLookUp(ContrastMap* map) {
  const auto& edges = map->ring_edges_um;
  const auto quarters = static_cast<size_t>(4.0 * edges.back()) + 1;
  map->ring_by_quarter_um.resize(quarters);
  size_t ring = 0;
  for (size_t i = 0; i < quarters; ++i) {
    const double middle = (static_cast<double>(i) + 0.5) / 4.0;
    while (ring + 2 < edges.size() && middle >= edges[ring + 1]) ++ring;
    map->ring_by_quarter_um[i] = static_cast<std::uint16_t>(ring);
  }
}

void MeasureNoise(double rim_um, ContrastMap* map) {
  const size_t count = map->ring_edges_um.size() - 1;
  std::vector<std::vector<float>> samples(count);
  std::vector<std::vector<float>> levels(count);
  std::vector<float> glass;
  std::vector<float> glass_level;
  const bool all_valid = map->valid.empty();
  // One cell in 13, along a slant that no grid of the camera shares.
  for (int row = 0; row < map->residual.rows; ++row) {
    const auto* residual = map->residual.ptr<float>(row);
    const auto* radius = map->radius_um.ptr<float>(row);
    const auto* background = map->background.ptr<float>(row);
    for (int column = (5 * row) % 13; column < map->residual.cols; column += 13) {
      if (static_cast<double>(radius[column]) >= map->outer_um) continue;
      if (!all_valid && map->valid.at<std::uint8_t>(row, column) == 0) continue;
      const size_t ring = map->RingOf(radius[column]);
      samples[ring].push_back(residual[column]);
      levels[ring].push_back(background[column]);
      if (radius[column] < static_cast<float>(rim_um - 5.0)) {
        glass.push_back(residual[column]);
        glass_level.push_back(background[column]);
      }
    }
  }
  const float glass_sigma = std::max(kLeastNoise, NoiseSigma(glass));
  map->glass_noise = static_cast<double>(glass_sigma);
  map->glass_level = static_cast<double>(MedianOf(glass_level));
  map->ring_noise.assign(count, map->glass_noise);
  map->ring_level.assign(count, map->glass_level);
  for (size_t i = 0; i < count; ++i) {
    if (!levels[i].empty()) map->ring_level[i] = static_cast<double>(MedianOf(levels[i]));
    if (samples[i].size() < kLeastRingCells) continue;
    const float sigma = std::max(kLeastNoise, NoiseSigma(samples[i]));
    map->ring_noise[i] = static_cast<double>(sigma);
  }
}

// Where noise does not carry a block's mean over its rounding, what is even becomes steps of it.
// Beside a step of its own height a neighbour's error is up to one more, and the finer coefficients
// add to it.
double LeastDepth(double block_step, const ContrastMap& map) {
  constexpr double kSteps = 1.15;
  constexpr double kRounded = 0.5;  // to whole grey levels, after the step
  constexpr double kCarries = 0.5;  // noise of a block's mean over its step
  constexpr double kBlock = 8.0;    // pixels a side
  const double noise = map.glass_noise * map.cell_px / kBlock;
  return noise < kCarries * block_step ? kSteps * block_step + kRounded : 0.0;
}

// Cells whose pixels do not show the face, and their neighbours as far as the blur reaches.
cv::Mat HiddenCells(const ContrastMap& map, const ZoneMap& zones) {
  if (zones.hidden.empty()) return {};
  cv::Mat hidden = cv::Mat::zeros(map.level.size(), CV_8UC1);
  for (int y = 0; y < hidden.rows; ++y) {
    for (int x = 0; x < hidden.cols; ++x) {
      if (zones.IsHidden(map.PxFromCell(cv::Point2d(x, y)))) hidden.at<uchar>(y, x) = 255;
    }
  }
  if (cv::countNonZero(hidden) == 0) return {};
  const int reach = 1 + static_cast<int>(std::ceil(2.0 * map.blur_sigma_cells));
  cv::dilate(
      hidden, hidden, cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * reach + 1, 2 * reach + 1}));
  return hidden;
}

ENDGRADE_WIDE void SubtractWithin(float furthest,
                                  const float* radius_um,
                                  const float* level,
                                  const float* background,
                                  int count,
                                  float* __restrict residual) {
  constexpr int kEight = 8;
  const Eight nothing = {};
  int x = 0;
  for (; x + kEight <= count; x += kEight) {
    const Eight difference = EightAt(level + x).value - EightAt(background + x).value;
    EightAt(residual + x).value = EightAt(radius_um + x).value >= furthest ? nothing : difference;
  }
  for (; x < count; ++x) residual[x] = radius_um[x] >= furthest ? 0.0F : level[x] - background[x];
}

// A core's edge that is steeper than the pixels are fine is jagged: which pixels it fills depends
// on where it happens to lie among them, and the clean face knows that to a part of a pixel only.
constexpr double kUnsurePlace = 0.25;  // cells
constexpr double kJaggedCells = 0.5;   // blur below which an edge is jagged,
constexpr double kSmoothCells = 0.8;   // and from which on it is not

void TakeOffJaggedEdge(const FaceRings& rings, const Scale& scale, ContrastMap* map) {
  const double jagged =
      std::clamp((kSmoothCells - map->blur_sigma_cells) / (kSmoothCells - kJaggedCells), 0.0, 1.0);
  if (jagged <= 0 || rings.core_radius_um <= 0) return;
  const cv::Point2d centre = map->CellFromPx(scale.ToPx(rings.core_centre_um));
  const int reach = static_cast<int>(std::ceil(1.2 * rings.core_to_um / map->um_per_cell)) + 1;
  const cv::Rect box =
      cv::Rect(cvRound(centre.x) - reach, cvRound(centre.y) - reach, 2 * reach + 1, 2 * reach + 1) &
      cv::Rect(1, 1, map->residual.cols - 2, map->residual.rows - 2);
  for (int y = box.y; y < box.br().y; ++y) {
    const auto* above = map->background.ptr<float>(y - 1);
    const auto* here = map->background.ptr<float>(y);
    const auto* below = map->background.ptr<float>(y + 1);
    auto* residual = map->residual.ptr<float>(y);
    for (int x = box.x; x < box.br().x; ++x) {
      const float slope = 0.5F * std::hypot(here[x + 1] - here[x - 1], below[x] - above[x]);
      const float unsure = static_cast<float>(kUnsurePlace * jagged) * slope;
      const float left = std::max(0.0F, std::abs(residual[x]) - unsure);
      residual[x] = std::copysign(left, residual[x]);
    }
  }
}

// Level less background; 0 further out than anything is looked for.
cv::Mat Residual(const ContrastMap& map) {
  cv::Mat residual(map.level.size(), CV_32FC1);
  // The least float that is not nearer: radii are compared with the limit itself.
  auto furthest = static_cast<float>(map.outer_um);
  if (static_cast<double>(furthest) < map.outer_um) {
    furthest = std::nextafter(furthest, std::numeric_limits<float>::max());
  }
  for (int y = 0; y < residual.rows; ++y) {
    SubtractWithin(furthest,
                   map.radius_um.ptr<float>(y),
                   map.level.ptr<float>(y),
                   map.background.ptr<float>(y),
                   residual.cols,
                   residual.ptr<float>(y));
  }
  return residual;
}

// Gives hidden cells the brightness of the ferrule that is seen: no edge where what is seen ends.
void FillHidden(const cv::Mat& hidden, double ferrule_from_um, ContrastMap* map) {
  std::vector<float> seen;
  for (int y = 0; y < hidden.rows; ++y) {
    for (int x = y % 7; x < hidden.cols; x += 7) {
      const bool ferrule = map->radius_um.at<float>(y, x) > static_cast<float>(ferrule_from_um);
      if (ferrule && !hidden.at<uchar>(y, x)) seen.push_back(map->level.at<float>(y, x));
    }
  }
  if (!seen.empty()) map->level.setTo(MedianOf(seen), hidden);
}

// Levels over the camera's own field; cells with a hidden pixel are not valid.
void DivideField(const CameraField& field, ContrastMap* map) {
  map->valid = cv::Mat(map->level.size(), CV_8UC1, cv::Scalar(255));
  for (int row = 0; row < map->level.rows; ++row) {
    auto* level = map->level.ptr<float>(row);
    auto* valid = map->valid.ptr<std::uint8_t>(row);
    for (int column = 0; column < map->level.cols; ++column) {
      const cv::Rect block(map->roi_px.x + column * map->cell_px,
                           map->roi_px.y + row * map->cell_px,
                           map->cell_px,
                           map->cell_px);
      if ((block & field.roi_px) != block) continue;
      const cv::Rect there = block - field.roi_px.tl();
      const cv::Point middle = there.tl() + cv::Point(there.width / 2, there.height / 2);
      level[column] /= field.gain.at<float>(middle);
      if (cv::countNonZero(field.hidden(there)) > 0) valid[column] = 0;
    }
  }
}

}  // namespace

std::optional<std::string> FlattenOptions::Problem() const {
  if (!(finest_cell_um >= 0.02 && finest_cell_um <= 1.0)) {
    return "FlattenOptions.finest_cell_um = " + std::to_string(finest_cell_um) +
           ": must be within [0.02, 1]";
  }
  if (!(margin_um >= 5 && margin_um <= 200)) {
    return "FlattenOptions.margin_um = " + std::to_string(margin_um) + ": must be within [5, 200]";
  }
  return std::nullopt;
}

ContrastMap Flatten(const Frame& frame,
                    const FibreGeometry& fibre,
                    const Scale& scale,
                    const ZoneMap& zones,
                    const FlattenOptions& options,
                    const CameraField* field) {
  ContrastMap map = LayCells(frame, fibre, scale, zones, options);
  if (map.level.empty()) return map;
  if (field) DivideField(*field, &map);
  const FaceRings rings = PlanRings(fibre, scale, map);
  const cv::Mat hidden = HiddenCells(map, zones);
  if (!hidden.empty()) {
    FillHidden(hidden, rings.cladding_radius_um + 8.0, &map);
    if (map.valid.empty()) map.valid = cv::Mat(map.level.size(), CV_8UC1, cv::Scalar(255));
    map.valid.setTo(0, hidden);
  }
  map.core_radius_um = rings.core_radius_um;
  map.core_centre_um = rings.core_centre_um;
  CleanFace clean = FitCleanFace(map, scale, rings);
  map.background = std::move(clean.brightness);
  map.residual = Residual(map);
  TakeOffJaggedEdge(rings, scale, &map);
  if (!map.valid.empty()) map.residual.setTo(0.0F, map.valid == 0);
  map.cladding_radius_um = rings.cladding_radius_um;
  map.ring_edges_um = NoiseRings(rings);
  FillLookUp(&map);
  MeasureNoise(rings.cladding_radius_um, &map);
  if (TakeOffBanding(&map)) MeasureNoise(rings.cladding_radius_um, &map);
  for (int i = 0; i < kMostFringes; ++i) {
    const auto fringes = FindFringes(map);
    if (!fringes) break;
    TakeOffFringes(*fringes, &map);
    MeasureNoise(rings.cladding_radius_um, &map);
  }
  map.block_step = frame.block_step;
  map.least_depth = LeastDepth(frame.block_step, map);
  map.rim_contrast = clean.rim_range / std::max(1.0, map.glass_level);
  return map;
}

}  // namespace endgrade
