#include "detect/follow_line.h"

#include "detect/direction.h"
#include "detect/line_trace.h"
#include "detect/sample.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kLeastStrength = 0.45;  // of the line's: a block below it does not show it
constexpr double kStrengthBeyond = 0.6;  // the same where one before it did not
constexpr double kStrengthDoubt = 0.15;  // to which a block tells it
constexpr double kShortestBlock = 8.0;   // cells
constexpr double kLongestBlock = 40.0;   // cells
constexpr size_t kMostMisses = 2;        // blocks in a row
constexpr double kMostShift = 1.0;       // sideways, cells a block
// Glass and ferrule show a scratch differently, and between them lies the rim.
constexpr double kRimInnerUm = 2.5;
constexpr double kRimOuterUm = 4.0;

// How strongly the picture shows the line from one point to another.
double StrengthBetween(const cv::Mat& residual,
                       const LineModel& model,
                       cv::Point2d from,
                       cv::Point2d to) {
  const cv::Point2d run = to - from;
  const cv::Point2d along = Unit(run);
  const cv::Point2d across(-along.y, along.x);
  const double reach = 0.5 * model.profile.bar_cells + 1.5 * model.blur;
  const double bound = 2.0 * std::abs(model.profile.peak);
  const int steps = std::max(1, cvRound(std::hypot(run.x, run.y)));
  double energy = 1e-9;
  double overlap = 0;
  for (double offset = -std::floor(reach); offset <= reach; offset += 1.0) {
    const double bar = model.profile.ModelAt(offset, model.blur);
    for (int i = 0; i < steps; ++i) {
      const cv::Point2d p = from + run * ((i + 0.5) / steps) + across * offset;
      overlap += bar * std::clamp(SampleAt(residual, p), -bound, bound);
      energy += bar * bar;
    }
  }
  return overlap / energy;
}

double NoiseAt(const ContrastMap& map, cv::Point2d cell) {
  const cv::Point2d off = cell - map.centre_cell;
  const cv::Vec2d um = map.um_from_cell * cv::Vec2d(off.x, off.y);
  return map.ring_noise[map.RingOf(static_cast<float>(std::hypot(um[0], um[1])))];
}

// Cells along the line that are enough to tell whether it is there.
double TellingLength(double noise, const LineModel& model) {
  const double reach = 0.5 * model.profile.bar_cells + 1.5 * model.blur;
  double energy = 1e-9;  // of a cell's length
  for (double offset = -std::floor(reach); offset <= reach; offset += 1.0) {
    energy += std::pow(model.profile.ModelAt(offset, model.blur), 2);
  }
  const double wanted = std::pow(noise / kStrengthDoubt, 2) / energy;
  return std::clamp(wanted, kShortestBlock, kLongestBlock);
}

// Appends to the spine what follows on from its last point. Returns whether anything does.
bool FollowOn(const ContrastMap& map,
              const cv::Mat& residual,
              const LineModel& model,
              double block,
              std::vector<cv::Point2d>* spine) {
  const std::vector<cv::Point2d> points = Resample(*spine, 1.0);
  const auto back = std::min(points.size() - 1, static_cast<size_t>(kTangent));
  cv::Point2d at = spine->back();
  cv::Point2d direction = Unit(at - points[points.size() - 1 - back]);
  const int side = SideOfRim(map, at);
  const size_t before = spine->size();
  std::vector<cv::Point2d> pending;
  while (pending.size() <= kMostMisses) {
    const cv::Point2d left(direction.y, -direction.x);
    cv::Point2d to = at + direction * block;
    double most = -1;
    for (double shift = -kMostShift; shift <= kMostShift + 1e-9; shift += 0.5 * kMostShift) {
      const cv::Point2d there = at + direction * block + left * shift;
      const double strength = StrengthBetween(residual, model, at, there) - 0.03 * std::abs(shift);
      if (strength <= most) continue;
      most = strength;
      to = there;
    }
    const bool outside =
        to.x < 1 || to.y < 1 || to.x > residual.cols - 2 || to.y > residual.rows - 2;
    if (outside || SideOfRim(map, to) != side) break;
    if (most < (pending.empty() ? kLeastStrength : kStrengthBeyond)) {
      at = at + direction * block;
      pending.push_back(at);
      continue;
    }
    direction = Unit(direction * 0.7 + Unit(to - at) * 0.3);
    at = to;
    spine->insert(spine->end(), pending.begin(), pending.end());
    pending.clear();
    spine->push_back(at);
  }
  if (spine->size() == before) return false;
  // It may end within the last block.
  const cv::Point2d end = spine->back();
  const cv::Point2d middle = 0.5 * (end + (*spine)[spine->size() - 2]);
  if (StrengthBetween(residual, model, middle, end) < kLeastStrength) spine->back() = middle;
  return true;
}

}  // namespace

int SideOfRim(const ContrastMap& map, cv::Point2d cell) {
  const cv::Point2d off = cell - map.centre_cell;
  const cv::Vec2d um = map.um_from_cell * cv::Vec2d(off.x, off.y);
  const double beyond = std::hypot(um[0], um[1]) - map.cladding_radius_um;
  return beyond < -kRimInnerUm ? -1 : beyond > kRimOuterUm ? 1 : 0;
}

bool FollowBothWays(const ContrastMap& map,
                    const cv::Mat& residual,
                    const LineModel& model,
                    std::vector<cv::Point2d>* spine) {
  const double noise = NoiseAt(map, (*spine)[spine->size() / 2]);
  const double block = TellingLength(noise, model);
  bool longer = FollowOn(map, residual, model, block, spine);
  std::reverse(spine->begin(), spine->end());
  longer = FollowOn(map, residual, model, block, spine) || longer;
  std::reverse(spine->begin(), spine->end());
  const double sign = model.profile.peak < 0 ? -1.0 : 1.0;
  if (longer) Recentre(residual, sign / noise, 2.0 * block, spine);
  return longer;
}

}  // namespace endgrade
